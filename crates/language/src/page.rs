//! A page as it leaves the server: its texts, and the attributes that are shown or read out, in the language of a book.
//!
//! What a template takes from elsewhere stands between two marks, [`BEGIN`] and [`END`], control characters that no page holds
//! otherwise. So it is known which words are the template's: they are looked up as one phrase, the values its slots, and no word
//! of a customer is ever taken for one of ours. A value that stands by itself is text of the program, to be looked up, or it
//! stands under `translate="no"`.
//!
//! Made for the HTML of our own templates, not for any: attributes in double quotes, elements closed.

use crate::book::Book;
use crate::phrase::has_letters;
use std::borrow::Cow;

/// Stands before a value that a template took from elsewhere.
pub const BEGIN: char = '\u{1}';
/// Stands behind it.
pub const END: char = '\u{2}';

/// Attributes that are shown or read out.
const SHOWN: [&str; 4] = ["title", "aria-label", "placeholder", "alt"];
/// Elements whose text is code, or a drawing.
const LEFT_ALONE: [&str; 4] = ["code", "kbd", "pre", "svg"];
/// Elements whose content is no markup.
const RAW: [&str; 3] = ["script", "style", "textarea"];
/// Elements that have no end.
const VOID: [&str; 8] = ["br", "hr", "img", "input", "link", "meta", "wbr", "area"];

impl Book {
    /// The page in the language of this book, without the marks.
    pub fn page(&self, html: &str) -> String {
        if self.is_empty() {
            return without_marks(html).into_owned();
        }
        let mut out =
            Out { book: self, text: String::with_capacity(html.len() + html.len() / 4), open: Vec::new() };
        let mut rest = html;
        while !rest.is_empty() {
            let at = next_tag(rest).unwrap_or(rest.len());
            out.words(&rest[..at]);
            rest = out.markup(&rest[at..]);
        }
        out.text
    }
}

/// Where the next piece of markup begins.
fn next_tag(html: &str) -> Option<usize> {
    let begins =
        |at: &usize| html[at + 1..].starts_with(|c: char| c.is_ascii_alphabetic() || c == '/' || c == '!');
    html.match_indices('<').map(|(at, _)| at).find(begins)
}

fn without_marks(text: &str) -> Cow<'_, str> {
    if text.contains([BEGIN, END]) { Cow::Owned(text.replace([BEGIN, END], "")) } else { Cow::Borrowed(text) }
}

/// What was written so far, and which elements are open.
struct Out<'b> {
    book: &'b Book,
    text: String,
    open: Vec<Element>,
}

struct Element {
    name: String,
    /// Its words are looked up.
    translated: bool,
}

impl Out<'_> {
    fn is_translated(&self) -> bool {
        self.open.last().is_none_or(|e| e.translated)
    }

    fn words(&mut self, text: &str) {
        match self.is_translated().then(|| translated(self.book, text)).flatten() {
            Some(said) => self.text.push_str(&said),
            None => self.text.push_str(&without_marks(text)),
        }
    }

    /// Writes the markup that the text begins with, and gives what follows it.
    fn markup<'h>(&mut self, html: &'h str) -> &'h str {
        if html.is_empty() {
            return html;
        }
        if html.starts_with("<!") {
            let end = if html.starts_with("<!--") { "-->" } else { ">" };
            let length = html.find(end).map_or(html.len(), |at| at + end.len());
            self.text.push_str(&without_marks(&html[..length]));
            return &html[length..];
        }
        let length = tag_length(html);
        let (tag, rest) = html.split_at(length);
        if let Some(name) = tag.strip_prefix("</") {
            self.text.push_str(&without_marks(tag));
            let name = name.trim_end_matches('>').trim().to_ascii_lowercase();
            if let Some(at) = self.open.iter().rposition(|e| e.name == name) {
                self.open.truncate(at);
            }
            return rest;
        }
        let name = tag_name(tag);
        let translated = match attribute(tag, "translate") {
            Some("no") => false,
            Some("yes" | "") => true,
            // What such an option shows is what the form sends.
            _ if name == "option" && attribute(tag, "value").is_none() => false,
            _ => self.is_translated(),
        };
        self.tag(tag, &name, translated);
        if VOID.contains(&name.as_str()) || tag.ends_with("/>") {
            return rest;
        }
        if RAW.contains(&name.as_str()) {
            let length = end_of_raw(rest, &name);
            self.text.push_str(&without_marks(&rest[..length]));
            return &rest[length..];
        }
        let translated = translated && !LEFT_ALONE.contains(&name.as_str());
        self.open.push(Element { name, translated });
        rest
    }

    /// A begin tag, with what is shown of its attributes in the language of the book.
    fn tag(&mut self, tag: &str, name: &str, translated: bool) {
        let mut rest = tag;
        while let Some((before, attribute, value, after)) = next_attribute(rest) {
            self.text.push_str(&without_marks(before));
            if name == "html" && matches!(attribute, "lang" | "dir") {
                if attribute == "lang" {
                    self.language(value);
                }
                rest = after;
                continue;
            }
            let said = (translated && SHOWN.contains(&attribute)).then(|| self::translated(self.book, value));
            match said.flatten() {
                Some(said) => self.text.push_str(&said),
                None => self.text.push_str(&without_marks(value)),
            }
            rest = after;
        }
        self.text.push_str(&without_marks(rest));
    }

    /// The value of `lang` of the page, and its direction behind it.
    fn language(&mut self, was: &str) {
        let Some(tag) = self.book.language() else {
            self.text.push_str(was);
            return;
        };
        self.text.push_str(tag.as_str());
        if tag.is_right_to_left() {
            self.text.push_str("\" dir=\"rtl");
        }
    }
}

/// Bytes of the tag that the text begins with; all of it where the tag has no end.
fn tag_length(html: &str) -> usize {
    let mut quoted = false;
    for (at, c) in html.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '>' if !quoted => return at + 1,
            _ => {}
        }
    }
    html.len()
}

fn tag_name(tag: &str) -> String {
    let name: String = tag[1..].chars().take_while(char::is_ascii_alphanumeric).collect();
    name.to_ascii_lowercase()
}

/// The next attribute with a value in quotes: what stands before the value, the name, the value, and the rest from the closing
/// quote on.
fn next_attribute(tag: &str) -> Option<(&str, &str, &str, &str)> {
    let at = tag.find("=\"")?;
    let name = tag[..at].rsplit(|c: char| c.is_whitespace() || c == '"').next().unwrap_or_default();
    let value = at + 2;
    let end = value + tag[value..].find('"')?;
    Some((&tag[..value], name, &tag[value..end], &tag[end..]))
}

fn attribute<'t>(tag: &'t str, wanted: &str) -> Option<&'t str> {
    let mut rest = tag;
    while let Some((_, name, value, after)) = next_attribute(rest) {
        if name == wanted {
            return Some(value);
        }
        rest = after;
    }
    None
}

/// Bytes up to the end tag of an element whose content is no markup.
fn end_of_raw(html: &str, name: &str) -> usize {
    let ends = |at: &usize| html[at + 2..].get(..name.len()).is_some_and(|n| n.eq_ignore_ascii_case(name));
    html.match_indices("</").map(|(at, _)| at).find(ends).unwrap_or(html.len())
}

/// A text of a page: words of the template, and values between marks.
struct Text<'h> {
    /// The words with the values as slots, white space folded.
    phrase: String,
    /// As they stand on the page, escaped.
    values: Vec<Cow<'h, str>>,
}

/// What stands between two marks, and what does not.
enum Part<'h> {
    Words(&'h str),
    Value(Cow<'h, str>),
}

fn parts(text: &str) -> Vec<Part<'_>> {
    let mut parts: Vec<Part<'_>> = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let Some((words, from_value)) = rest.split_once(BEGIN) else {
            parts.push(Part::Words(rest));
            break;
        };
        if !words.is_empty() {
            parts.push(Part::Words(words));
        }
        let (value, after) = from_value.split_once(END).unwrap_or((from_value, ""));
        match parts.last_mut() {
            // Two values side by side are one: nobody sees where the first ends.
            Some(Part::Value(had)) => had.to_mut().push_str(value),
            _ => parts.push(Part::Value(Cow::Borrowed(value))),
        }
        rest = after;
    }
    parts
}

impl<'h> Text<'h> {
    /// The phrase in the language of the book, escaped, with its values.
    fn said(&self, book: &Book) -> Option<String> {
        book.phrase(&self.phrase, &self.values.iter().map(AsRef::as_ref).collect::<Vec<_>>(), escaped)
    }

    fn of(parts: &[Part<'h>]) -> Text<'h> {
        let mut phrase = String::new();
        let mut values = Vec::new();
        for part in parts {
            match part {
                Part::Words(words) => phrase.push_str(&unescaped(words)),
                Part::Value(value) => {
                    values.push(value.clone());
                    phrase.push_str(&format!("{{{}}}", values.len()));
                }
            }
        }
        Text { phrase: crate::phrase::folded(&phrase), values }
    }
}

/// Values with nothing but marks like “, ” between them as one: a list, whose length a template does not know.
fn lists_as_one<'h>(parts: &[Part<'h>]) -> Vec<Part<'h>> {
    let mut out: Vec<Part<'h>> = Vec::new();
    for (n, part) in parts.iter().enumerate() {
        let next_is_value = matches!(parts.get(n + 1), Some(Part::Value(_)));
        match (part, out.last_mut()) {
            (Part::Value(value), Some(Part::Value(list))) => list.to_mut().push_str(value),
            (Part::Words(words), Some(Part::Value(list)))
                if next_is_value && !words.contains(char::is_alphabetic) =>
            {
                list.to_mut().push_str(words);
            }
            (Part::Value(value), _) => out.push(Part::Value(value.clone())),
            (Part::Words(words), _) => out.push(Part::Words(words)),
        }
    }
    out
}

/// The text in the language of the book, escaped; none where it stays as it is.
fn translated(book: &Book, text: &str) -> Option<String> {
    let parts = parts(text);
    let found = Text::of(&parts);
    if has_letters(&found.phrase) {
        let said = found.said(book).or_else(|| Text::of(&lists_as_one(&parts)).said(book))?;
        let words = text.trim_start_matches(WHITE);
        let (before, after) =
            (&text[..text.len() - words.len()], &words[words.trim_end_matches(WHITE).len()..]);
        return Some(format!("{before}{said}{after}"));
    }
    // No words of the template: each value is a text by itself.
    let mut any = false;
    let mut out = String::with_capacity(text.len());
    for part in &parts {
        match part {
            Part::Words(words) => out.push_str(words),
            Part::Value(value) => match book.say(&unescaped(value)) {
                Some(said) => {
                    any = true;
                    out.push_str(&escaped(&said));
                }
                None => out.push_str(value),
            },
        }
    }
    any.then_some(out)
}

/// White space of HTML.
const WHITE: [char; 5] = [' ', '\t', '\n', '\r', '\u{c}'];

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// The entities that our templates write, and numbers.
fn unescaped(text: &str) -> Cow<'_, str> {
    if !text.contains('&') {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('&') {
        out.push_str(&rest[..at]);
        rest = &rest[at..];
        let entity = rest.find(';').filter(|end| *end <= 8).map(|end| &rest[1..end]);
        if let Some((entity, c)) = entity.and_then(|e| character(e).map(|c| (e, c))) {
            out.push(c);
            rest = &rest[entity.len() + 2..];
        } else {
            out.push('&');
            rest = &rest[1..];
        }
    }
    out.push_str(rest);
    Cow::Owned(out)
}

fn character(entity: &str) -> Option<char> {
    Some(match entity {
        "amp" => '&',
        "lt" => '<',
        "gt" => '>',
        "quot" => '"',
        "apos" => '\'',
        "nbsp" => '\u{a0}',
        _ => char::from_u32(entity.strip_prefix('#')?.parse().ok()?)?,
    })
}
