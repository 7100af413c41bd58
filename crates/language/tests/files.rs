//! PO files: what is read, what is refused and with which words, and that nothing makes the reader panic.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use language::{LARGEST, read};
use proptest::prelude::*;

const HEADER: &str =
    "msgid \"\"\nmsgstr \"\"\n\"Language: de\\n\"\n\"Content-Type: text/plain; charset=UTF-8\\n\"\n";

fn with(body: &str) -> String {
    format!("{HEADER}\n{body}")
}

#[test]
fn a_file_is_read() {
    let text = with(
        "# for people\n#. of the program\n#: templates/today.html assets/bench.js\n#, fuzzy\nmsgid \"New job\"\nmsgstr \"Neuer Auftrag\"\n\n\
         msgid \"\"\n\"Step {1} \"\n\"of {2}\"\nmsgstr \"\"\n\"Schritt {1}\\n\"\n\"von {2} \\\"so\\\"\"\n\n#~ msgid \"gone\"\n#~ msgstr \"weg\"\n",
    );
    for text in [text.clone(), text.replace('\n', "\r\n"), format!("\u{feff}{text}")] {
        let file = read(text.as_bytes()).unwrap();
        assert_eq!(file.language.unwrap().as_str(), "de");
        assert_eq!(file.phrases.len(), 2);
        let first = &file.phrases[0];
        assert_eq!((first.id.as_str(), first.text.as_str(), first.fuzzy), ("New job", "Neuer Auftrag", true));
        assert_eq!(first.used_in, ["templates/today.html", "assets/bench.js"]);
        assert!(!first.is_done());
        let second = &file.phrases[1];
        assert_eq!(
            (second.id.as_str(), second.text.as_str()),
            ("Step {1} of {2}", "Schritt {1} von {2} \"so\"")
        );
        assert!(second.is_done());
    }
}

#[test]
fn languages_by_their_codes() {
    for (code, tag, right_to_left) in [
        ("de", "de", false),
        ("pt_BR", "pt-BR", false),
        ("sr@latin", "sr-Latn", false),
        ("ar", "ar", true),
        ("he_IL", "he-IL", true),
        ("fa", "fa", true),
        ("ku_Arab", "ku-Arab", true),
        ("uz_Cyrl_UZ", "uz-Cyrl-UZ", false),
        ("az-Arab", "az-Arab", true),
    ] {
        let file = format!("msgid \"\"\nmsgstr \"Language: {code}\\n\"\n");
        let language = read(file.as_bytes()).unwrap().language.unwrap();
        assert_eq!((language.as_str(), language.is_right_to_left()), (tag, right_to_left), "{code}");
    }
    // A template leaves it open.
    assert_eq!(read(b"msgid \"\"\nmsgstr \"Language: \\n\"\n").unwrap().language, None);
}

/// What a translator is told, to be read as one text.
#[test]
fn refusals_say_where_what_and_what_to_do() {
    let after_header = HEADER.lines().count() + 1;
    for (body, line, column, says) in [
        (
            "msgid \"a\"\n",
            1,
            1,
            "this msgid has no msgstr below it; write msgstr \"\" where there is no translation yet",
        ),
        ("msgid \"a\"\n# x\nmsgstr \"b\"", 1, 1, "this msgid has no msgstr below it"),
        ("msgstr \"a\"\n", 1, 1, "this msgstr has no msgid of its own above it"),
        (
            "msgid \"a\"\nmsgstr \"b\nmsgid \"c\"",
            2,
            10,
            "the closing quotation mark is missing; end the line with \"",
        ),
        ("msgid \"a\"\nmsgstr b", 2, 8, "a text in quotation marks is expected here"),
        ("msgid \"a\"\nmsgstr \"b\" c", 2, 12, "something stands behind the closing quotation mark"),
        ("msgid \"a\"\nmsgstr \"b\\x\"", 2, 10, "this backslash stands for nothing known here"),
        ("msgid \"a\"\nmsgstr \"b\u{1}\"", 2, 10, "a control character stands here; take it out"),
        ("\"loose\"", 1, 1, "this text belongs to no phrase"),
        ("msgid \"a\"\nmsgstr \"b\"\n\n\"loose\"", 4, 1, "this text belongs to no phrase"),
        ("  lang = de", 1, 3, "“lang” is no line of a PO file"),
        ("msgctxt \"x\"", 1, 1, "msgctxt is not used here: each phrase stands for itself"),
        ("msgid \"a\"\nmsgid_plural \"b\"", 2, 1, "msgid_plural is not used here"),
        ("msgid \"a\"\nmsgstr[0] \"b\"", 2, 1, "plural forms are not used here"),
        (
            "msgid \"a\"\nmsgstr \"b\"\nmsgid \"a\"\nmsgstr \"c\"",
            3,
            1,
            "“a” stands here a second time; keep one of the two",
        ),
        (
            "msgid \"{1} of {2}\"\nmsgstr \"von {2}\"",
            2,
            1,
            "the English has {1} {2}, the translation {2}; keep every {number} of the English, in any order: a name or a figure \
             stands there",
        ),
        ("msgid \"a\"\nmsgstr \"{1}\"", 2, 1, "the English has no slot, the translation {1}"),
    ] {
        let refused = read(with(body).as_bytes()).unwrap_err();
        assert_eq!((refused.line, refused.column), (after_header + line, column), "{body}: {refused}");
        assert!(format!("{}; {}", refused.message, refused.remedy).contains(says), "{body}: {refused}");
        assert!(!refused.remedy.is_empty());
    }
    for (bytes, place, says) in [
        (&b""[..], (1, 1), "the header of a PO file is missing"),
        (b"msgid \"a\"\nmsgstr \"b\"\n", (1, 1), "the header of a PO file is missing"),
        (b"{\"a\": 1}", (1, 1), "is no line of a PO file"),
        (b"\xde\x12\x04\x95\0\0\0\0", (1, 1), "compiled file (MO)"),
        (b"msgid \"\"\nmsgstr \"Gr\xfc\xdfe\"", (2, 11), "no text in UTF-8"),
        (b"msgid \"\"\nmsgstr \"Language: Deutsch!\\n\"", (2, 1), "is no language"),
        (
            b"msgid \"\"\nmsgstr \"Content-Type: text/plain; charset=ISO-8859-1\\n\"",
            (2, 1),
            "other than UTF-8",
        ),
    ] {
        let refused = read(bytes).unwrap_err();
        assert_eq!((refused.line, refused.column), place, "{refused}");
        assert!(refused.message.contains(says), "{refused}");
    }
    assert!(read(&vec![b'#'; LARGEST + 1]).unwrap_err().message.contains("larger"));
    let long = with(&format!("msgid \"a\"\nmsgstr \"\"\n{}", "\"0123456789\"\n".repeat(1000)));
    assert!(read(long.as_bytes()).unwrap_err().message.contains("longer than"));
}

fn near_a_file() -> impl Strategy<Value = String> {
    let parts = [
        "msgid",
        "msgstr",
        "msgctxt",
        "msgid_plural",
        "msgstr[0]",
        " ",
        "\t",
        "\n",
        "\r\n",
        "\"",
        "\"\"",
        "\\",
        "\\n",
        "\\\"",
        "{1}",
        "{2}",
        "a",
        "Ω",
        "ß",
        "\u{feff}",
        "#",
        "#,",
        "#:",
        "#~",
        "fuzzy",
        "Language:",
        "de",
        "pt_BR",
        "charset=",
        "\u{1}",
        "\u{0}",
        "msgid \"\"\nmsgstr \"Language: de\\n\"\n",
        "\nmsgid \"x {1}\"\nmsgstr \"{1} y\"\n",
    ];
    prop::collection::vec(prop::sample::select(parts.to_vec()), 0..30).prop_map(|v| v.concat())
}

fn read_or_refused(bytes: &[u8]) -> Result<(), TestCaseError> {
    match read(bytes) {
        Ok(file) => {
            for phrase in &file.phrases {
                prop_assert!(phrase.line > 0 && !phrase.id.is_empty());
                let held = phrase.text.contains(['\u{1}', '\u{2}', '\n']);
                prop_assert!(!held);
            }
        }
        Err(refused) => {
            let lines = bytes.split(|b| *b == b'\n').count();
            prop_assert!((1..=lines).contains(&refused.line), "{}", refused);
            prop_assert!(refused.column >= 1 && !refused.message.is_empty() && !refused.remedy.is_empty());
        }
    }
    Ok(())
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        read_or_refused(&bytes)?;
    }

    #[test]
    fn text_near_a_file_is_read_or_refused(text in near_a_file()) {
        read_or_refused(text.as_bytes())?;
    }

    /// What a PO editor writes comes back as it was.
    #[test]
    fn what_is_written_is_read(id in "[A-Za-zé\"\\\\ ]{1,20}", text in "[A-Za-zß\"\\\\ ]{0,20}") {
        let escaped = |t: &str| t.replace('\\', "\\\\").replace('"', "\\\"");
        let file = with(&format!("msgid \"{}\"\nmsgstr \"{}\"\n", escaped(&id), escaped(&text)));
        prop_assume!(!language::folded(&id).is_empty());
        let read = read(file.as_bytes()).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(&read.phrases[0].id, &language::folded(&id));
        prop_assert_eq!(&read.phrases[0].text, &language::folded(&text));
    }
}
