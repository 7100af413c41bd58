//! Pages in another language: what is translated, and what no book may touch.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use language::{BEGIN, Book, END, read};
use proptest::prelude::*;

fn book(language: &str, phrases: &[(&str, &str)]) -> Book {
    let escaped = |t: &str| t.replace('\\', "\\\\").replace('"', "\\\"");
    let mut file = format!("msgid \"\"\nmsgstr \"Language: {language}\\n\"\n");
    for (id, text) in phrases {
        file.push_str(&format!("\nmsgid \"{}\"\nmsgstr \"{}\"\n", escaped(id), escaped(text)));
    }
    Book::of(&read(file.as_bytes()).unwrap())
}

/// A page as its template writes it: `‹…›` for a value.
fn page(text: &str) -> String {
    text.replace('‹', &BEGIN.to_string()).replace('›', &END.to_string())
}

fn plain(text: &str) -> String {
    text.replace([BEGIN, END], "")
}

fn german() -> Book {
    book(
        "de",
        &[
            ("Today", "Heute"),
            ("New job", "Neuer Auftrag"),
            ("{1} of {2} to buy", "von {2} sind {1} zu kaufen"),
            ("Take back: {1}", "Zurücknehmen: {1}"),
            ("A \"b\" & <c>", "Ein „b“ & <c>"),
            ("Sure: {1}", "Sicher: {1}"),
            ("What to do: {1}.", "Abhilfe: {1}."),
            ("maker, model, number", "Hersteller, Typ, Nummer"),
            ("Switch on", "Einschalten"),
            ("Before: {1}.", "Vorher: {1}."),
        ],
    )
}

#[test]
fn texts_and_shown_attributes_are_translated() {
    for (english, german_page) in [
        ("<p>\n Today </p>", "<p>\n Heute </p>"),
        ("<a href=\"/new\">New\n  job</a>", "<a href=\"/new\">Neuer Auftrag</a>"),
        ("<p>‹3› of ‹4› to buy</p>", "<p>von 4 sind 3 zu kaufen</p>"),
        (
            "<button aria-label=\"Take back: ‹26R4 &#60;b&#62;›\">x</button>",
            "<button aria-label=\"Zurücknehmen: 26R4 &#60;b&#62;\">x</button>",
        ),
        ("<p>A &quot;b&quot; &amp; &lt;c&gt;</p>", "<p>Ein „b“ &amp; &lt;c&gt;</p>"),
        (
            "<input name=\"Today\" value=\"Today\" placeholder=\"maker, model, number\">",
            "<input name=\"Today\" value=\"Today\" placeholder=\"Hersteller, Typ, Nummer\">",
        ),
        // A value by itself is text of the program.
        ("<p>‹Sure: element open›</p>", "<p>Sicher: element open</p>"),
        ("<title>‹Today› · ‹Wattmend›</title>", "<title>Heute · Wattmend</title>"),
        // A list is one value, however long.
        ("<p>Before: ‹a›; ‹b &#38; c›.</p>", "<p>Vorher: a; b &#38; c.</p>"),
        ("<p>Before: ‹a›.</p>", "<p>Vorher: a.</p>"),
        // Two values side by side are one.
        ("<p>‹3›‹4› of ‹4› to buy</p>", "<p>von 4 sind 34 zu kaufen</p>"),
        ("<option value=\"Today\">Today</option>", "<option value=\"Today\">Heute</option>"),
        ("<img alt=\"Today\" src=\"/Today\">", "<img alt=\"Heute\" src=\"/Today\">"),
        ("<html lang=\"en-GB\">", "<html lang=\"de\">"),
    ] {
        assert_eq!(german().page(&page(english)), german_page);
    }
}

#[test]
fn what_is_not_ours_stays() {
    for text in [
        "<p translate=\"no\">‹Today›</p>",
        "<p translate=\"no\" title=\"Today\"><b>Today</b></p>",
        "<p>“‹Today›” was said</p>",
        "<p>3 of 4 to buy</p>",
        "<script>Today</script><style>Today</style><textarea>\n‹Today›</textarea>",
        "<select><option>Today</option></select>",
        "<pre>Today</pre><code>‹Today›</code>",
        "<svg role=\"img\"><title>Today</title></svg>",
        "<!-- Today --><!doctype html>",
        "<input value=\"‹Today›\" data-keep=\"Today\">",
        "<p class=\"Today\" id=\"New job\"></p>",
        "Tomorrow < Today > x",
    ] {
        assert_eq!(german().page(&page(text)), plain(&page(text)), "{text}");
    }
    // The words of a customer, within a sentence of ours, stay as they are; what follows is ours again.
    assert_eq!(
        german().page(&page("<p>What to do: ‹Today›.</p><p translate=\"no\">‹Today›</p><p>Today</p>")),
        "<p>Abhilfe: Today.</p><p translate=\"no\">Today</p><p>Heute</p>"
    );
    assert_eq!(
        german().page("<div translate=\"no\">Today <b translate=\"yes\">Today</b> Today</div>Today"),
        "<div translate=\"no\">Today <b translate=\"yes\">Heute</b> Today</div>Heute"
    );
}

#[test]
fn a_caution_without_translation_stays_whole() {
    let caution = "<p class=\"caution\"><strong>Caution.</strong> ‹Unplug it. Switch on. Hot inside.›</p>";
    let said = german().page(&page(caution));
    assert!(said.contains("Unplug it. Switch on. Hot inside."), "{said}");
    let more = book("de", &[("Unplug it.", "Stecker ziehen."), ("Caution.", "Achtung.")]);
    assert_eq!(
        more.page(&page(caution)),
        "<p class=\"caution\"><strong>Achtung.</strong> Stecker ziehen. Switch on. Hot inside.</p>"
    );
}

#[test]
fn a_page_from_right_to_left_says_so() {
    let arabic = book("ar", &[("Today", "اليوم")]);
    assert_eq!(
        arabic.page("<html lang=\"en-GB\"><p>Today</p>"),
        "<html lang=\"ar\" dir=\"rtl\"><p>اليوم</p>"
    );
}

#[test]
fn markup_in_a_language_file_is_text() {
    let evil = book("de", &[("Today", "<script>alert(1)</script>"), ("New job", "\" onclick=\"x")]);
    assert_eq!(evil.page("<p>Today</p>"), "<p>&lt;script&gt;alert(1)&lt;/script&gt;</p>");
    assert_eq!(evil.page("<p title=\"New job\">x</p>"), "<p title=\"&quot; onclick=&quot;x\">x</p>");
}

/// Pieces of pages, in any order: closed and unclosed, with values and without.
fn any_page() -> impl Strategy<Value = String> {
    let parts = [
        "<p>",
        "</p>",
        "<b translate=\"no\">",
        "</b>",
        "<div>",
        "</div>",
        "<i translate=\"yes\">",
        "</i>",
        "<script>",
        "</script>",
        "<textarea>",
        "</textarea>",
        "<code>",
        "</code>",
        "<input placeholder=\"Today\" value=\"Today\">",
        "<br>",
        "<!-- Today -->",
        "<a title=\"Today\" href=\"Today\">",
        "</a>",
        "<img alt=\"",
        "\">",
        "<",
        ">",
        "\"",
        "=\"",
        "</",
        "<svg>",
        "<path d=\"\"/>",
        "</svg>",
        "\u{1}Today\u{2}",
        "\u{1}",
        "\u{2}",
        "\u{1}a &#60; b\u{2}",
        "Today",
        "New job",
        " ",
        "\n",
        "&amp;",
        "&",
        ";",
        "&#39;",
        "of",
        "to buy",
        "é",
        "{1}",
        "<html lang=\"en-GB\">",
        "Sure: ",
        "What to do: \u{1}x\u{2}.",
        "<title>",
        "</title>",
    ];
    prop::collection::vec(prop::sample::select(parts.to_vec()), 0..40).prop_map(|v| v.concat())
}

/// The tags of a page without the attributes that are shown; and the texts under `translate="no"`.
fn bones(html: &str) -> String {
    let mut out = String::new();
    let mut rest = html;
    while let Some(at) = rest.find('<') {
        rest = &rest[at..];
        let mut quoted = false;
        let end = rest.char_indices().find(|(_, c)| {
            quoted ^= *c == '"';
            *c == '>' && !quoted
        });
        let length = end.map_or(rest.len(), |(at, _)| at + 1);
        let mut tag = rest[..length].to_owned();
        for shown in ["title=\"", "placeholder=\"", "alt=\"", "aria-label=\""] {
            if let Some(at) = tag.find(shown) {
                let from = at + shown.len();
                let to = tag[from..].find('"').map_or(tag.len(), |e| from + e);
                tag.replace_range(from..to, "");
            }
        }
        out.push_str(&tag);
        rest = &rest[length..];
    }
    out
}

proptest! {
    #[test]
    fn an_empty_book_changes_no_byte_but_the_marks(html in any_page()) {
        prop_assert_eq!(Book::default().page(&html), plain(&html));
    }

    #[test]
    fn a_book_that_knows_nothing_of_a_page_changes_no_byte_but_the_marks(html in any_page()) {
        let other = book("en", &[("Quite another phrase {1}", "x {1}"), ("And one more", "y")]);
        let html = html.replace("<html lang=\"en-GB\">", "<html>");
        prop_assert_eq!(other.page(&html), plain(&html));
    }

    #[test]
    fn any_text_is_taken(html in any::<String>()) {
        german().page(&html);
    }

    /// On whole markup, tags and what is not ours come through as they were.
    #[test]
    fn markup_and_what_is_not_ours_come_through(
        texts in prop::collection::vec(prop::sample::select(vec!["Today", "New job", "\u{1}Today\u{2}", "x", "Today &amp; x", "\u{1}3\u{2} of \u{1}4\u{2} to buy"]), 6)
    ) {
        let [a, b, c, d, e, f] = [0, 1, 2, 3, 4, 5].map(|n| texts[n]);
        let html = format!(
            "<main id=\"Today\"><p title=\"{a}\">{b}</p><ul><li translate=\"no\"><b title=\"{c}\">{d}</b>{e}</li></ul><textarea name=\"Today\">{f}</textarea>{a}</main>"
        );
        let said = german().page(&html);
        prop_assert_eq!(bones(&said), bones(&plain(&html)));
        let kept = format!("<li translate=\"no\"><b title=\"{c}\">{d}</b>{e}</li></ul><textarea name=\"Today\">{f}</textarea>");
        prop_assert!(said.contains(&plain(&kept)), "{}", said);
    }
}
