//! A gettext PO file (GNU gettext manual, "The Format of PO Files"), of which `msgid`, `msgstr`, comments and the header are used.
//! Strict: what could be meant in two ways, or would lose a word of a phrase, is refused with its place and what to do.

use crate::phrase::{folded, slots};
use std::collections::HashSet;
use std::fmt;

/// Largest file, bytes.
pub const LARGEST: usize = 1_000_000;
/// Longest phrase, bytes.
const LONGEST: usize = 8_000;

/// A file that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhraseFile {
    /// The language it speaks; none in a template, whose header leaves it open.
    pub language: Option<Tag>,
    /// Its phrases, in the order of the file.
    pub phrases: Vec<Phrase>,
}

/// A phrase of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phrase {
    /// The English words, white space folded.
    pub id: String,
    /// What stands in their place; empty: nothing yet.
    pub text: String,
    /// Marked `fuzzy`: somebody has to look at it before it counts.
    pub fuzzy: bool,
    /// Where it is used: `#:` of the file.
    pub used_in: Vec<String>,
    /// Line of its `msgid`, from 1.
    pub line: usize,
}

impl Phrase {
    /// Does it stand on pages?
    pub fn is_done(&self) -> bool {
        !self.fuzzy && !self.text.is_empty()
    }
}

/// A language, as HTML names it (BCP 47): `de`, `pt-BR`, `sr-Latn`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tag(String);

/// Languages and scripts that are written from right to left (ISO 639 and ISO 15924 codes; the list is from memory).
const RIGHT_TO_LEFT: [&str; 18] = [
    "ar", "arc", "ckb", "dv", "fa", "he", "nqo", "ps", "sd", "syr", "ug", "ur", "yi", "arab", "hebr", "thaa",
    "syrc", "nkoo",
];

impl Tag {
    /// From the header of a file: `de`, `de_AT`, `sr@latin`.
    fn of(text: &str) -> Option<Tag> {
        let (plain, script) = match text.split_once('@') {
            Some((plain, "latin")) => (plain, Some("Latn")),
            Some((plain, "cyrillic")) => (plain, Some("Cyrl")),
            Some((plain, "arabic")) => (plain, Some("Arab")),
            Some(_) => return None,
            None => (text, None),
        };
        let plain = plain.replace('_', "-");
        let mut parts: Vec<&str> = plain.split('-').collect();
        if let Some(script) = script {
            parts.insert(1, script);
        }
        let fits = |p: &&str| (1..=8).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_alphanumeric());
        let language = parts.first()?;
        let is_language =
            (2..=3).contains(&language.len()) && language.bytes().all(|b| b.is_ascii_alphabetic());
        (is_language && parts.len() <= 4 && parts.iter().all(fits)).then(|| Tag(parts.join("-")))
    }

    /// As HTML names it.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Is it written from right to left?
    pub fn is_right_to_left(&self) -> bool {
        let mut parts = self.0.split('-').map(str::to_ascii_lowercase);
        let language = parts.next().unwrap_or_default();
        // A script that is named decides: Kurdish and Punjabi are written in two.
        match parts.find(|p| p.len() == 4 && p.bytes().all(|b| b.is_ascii_alphabetic())) {
            Some(script) => RIGHT_TO_LEFT.contains(&script.as_str()),
            None => RIGHT_TO_LEFT.contains(&language.as_str()),
        }
    }
}

/// Why a file is not taken: where, what, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// From 1.
    pub line: usize,
    /// In characters, from 1.
    pub column: usize,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}; {}", self.line, self.column, self.message, self.remedy)
    }
}

impl std::error::Error for Refused {}

/// Reads a PO file.
///
/// # Errors
/// With the place, where it is larger than [`LARGEST`], no UTF-8, or not of the form; where a phrase stands twice, or its
/// translation has not the slots of the English; where the header is missing or names no language that is one.
pub fn read(bytes: &[u8]) -> Result<PhraseFile, Refused> {
    let at_start = |message: &str, remedy: &str| Refused::at((1, 1), message.to_owned(), remedy.to_owned());
    if bytes.len() > LARGEST {
        return Err(at_start(
            "this is larger than a language file can be",
            "send the PO file itself, 1 MB at most",
        ));
    }
    if bytes.starts_with(&[0xde, 0x12, 0x04, 0x95]) || bytes.starts_with(&[0x95, 0x04, 0x12, 0xde]) {
        return Err(at_start("this is a compiled file (MO)", "send the PO file that it was made from"));
    }
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let before = String::from_utf8_lossy(&bytes[..e.valid_up_to()]);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
        Refused::at(
            (line, column),
            "this is no text in UTF-8".to_owned(),
            "save the file as UTF-8".to_owned(),
        )
    })?;
    let mut reader = Reader::default();
    for (n, line) in text.strip_prefix('\u{feff}').unwrap_or(text).split('\n').enumerate() {
        reader.line(n + 1, line.strip_suffix('\r').unwrap_or(line))?;
    }
    reader.finish_entry()?;
    if !reader.header_seen {
        return Err(at_start(
            "this is no language file: the header of a PO file is missing",
            "begin with the template that Settings offers, in a PO editor; its header names the language",
        ));
    }
    Ok(PhraseFile { language: reader.language, phrases: reader.phrases })
}

impl Refused {
    fn at((line, column): (usize, usize), message: String, remedy: String) -> Refused {
        Refused { line, column, message, remedy }
    }
}

/// Which string a line that is only a string goes on with.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
enum Open {
    #[default]
    Nothing,
    Id,
    Text,
}

#[derive(Default)]
struct Entry {
    id: Option<(usize, String)>,
    text: Option<(usize, String)>,
    fuzzy: bool,
    used_in: Vec<String>,
}

#[derive(Default)]
struct Reader {
    entry: Entry,
    open: Open,
    header_seen: bool,
    language: Option<Tag>,
    phrases: Vec<Phrase>,
    known: HashSet<String>,
}

impl Reader {
    fn line(&mut self, number: usize, line: &str) -> Result<(), Refused> {
        let text = line.trim_start_matches([' ', '\t']);
        let column = line.chars().count() - text.chars().count() + 1;
        let place = (number, column);
        if text.is_empty() {
            self.open = Open::Nothing;
            return Ok(());
        }
        if let Some(comment) = text.strip_prefix('#') {
            return self.comment(comment);
        }
        if text.starts_with('"') {
            let more = string(place, text)?;
            let slot = match self.open {
                Open::Id => self.entry.id.as_mut(),
                Open::Text => self.entry.text.as_mut(),
                Open::Nothing => None,
            };
            let Some((_, said)) = slot else {
                return Err(Refused::at(
                    place,
                    "this text belongs to no phrase".to_owned(),
                    "put it directly below its msgid or msgstr line".to_owned(),
                ));
            };
            said.push_str(&more);
            if said.len() > LONGEST {
                return Err(Refused::at(
                    place,
                    format!("this phrase is longer than {LONGEST} bytes"),
                    "shorten it".to_owned(),
                ));
            }
            return Ok(());
        }
        let end = text.find(|c: char| c.is_whitespace() || c == '"').unwrap_or(text.len());
        let (keyword, rest) = text.split_at(end);
        let value = rest.trim_start_matches([' ', '\t']);
        let at = (number, column + text.chars().count() - value.chars().count());
        match keyword {
            "msgid" => {
                self.finish_entry()?;
                self.entry.id = Some((number, string(at, value)?));
                self.open = Open::Id;
            }
            "msgstr" => {
                if self.entry.id.is_none() || self.entry.text.is_some() {
                    return Err(Refused::at(
                        place,
                        "this msgstr has no msgid of its own above it".to_owned(),
                        "write the English phrase above it, as the template has it".to_owned(),
                    ));
                }
                self.entry.text = Some((number, string(at, value)?));
                self.open = Open::Text;
            }
            "msgctxt" | "msgid_plural" => {
                return Err(Refused::at(
                    place,
                    format!("{keyword} is not used here: each phrase stands for itself"),
                    "begin with the template that Settings offers".to_owned(),
                ));
            }
            _ if keyword.starts_with("msgstr[") => {
                return Err(Refused::at(
                    place,
                    "plural forms are not used here".to_owned(),
                    "write one msgstr that fits every number".to_owned(),
                ));
            }
            _ => {
                let shown: String = keyword.chars().take(30).collect();
                return Err(Refused::at(
                    place,
                    format!("“{shown}” is no line of a PO file"),
                    "lines begin with msgid, msgstr, a quotation mark or #".to_owned(),
                ));
            }
        }
        Ok(())
    }

    fn comment(&mut self, comment: &str) -> Result<(), Refused> {
        if self.entry.text.is_some() {
            self.finish_entry()?;
        } else if let Some((line, _)) = self.entry.id {
            return Err(no_text(line));
        }
        self.open = Open::Nothing;
        match comment.chars().next() {
            Some(',') => self.entry.fuzzy |= comment[1..].split(',').any(|flag| flag.trim() == "fuzzy"),
            Some(':') => self.entry.used_in.extend(comment[1..].split_whitespace().map(str::to_owned)),
            // `#~`: a phrase that is used no more; all others are for people.
            _ => {}
        }
        Ok(())
    }

    fn finish_entry(&mut self) -> Result<(), Refused> {
        self.open = Open::Nothing;
        let Some((line, id)) = self.entry.id.take() else { return Ok(()) };
        let Entry { text, fuzzy, used_in, .. } = std::mem::take(&mut self.entry);
        let Some((text_line, text)) = text else { return Err(no_text(line)) };
        let id = folded(&id);
        if !self.known.insert(id.clone()) {
            return Err(Refused::at(
                (line, 1),
                format!("“{}” stands here a second time", shortened(&id)),
                "keep one of the two".to_owned(),
            ));
        }
        if id.is_empty() {
            return self.header(text_line, &text);
        }
        let text = folded(&text);
        if !text.is_empty() && slots(&id) != slots(&text) {
            let named = |phrase: &str| {
                let all: Vec<String> = slots(phrase).iter().map(|n| format!("{{{n}}}")).collect();
                if all.is_empty() { "no slot".to_owned() } else { all.join(" ") }
            };
            return Err(Refused::at(
                (text_line, 1),
                format!("the English has {}, the translation {}", named(&id), named(&text)),
                "keep every {number} of the English, in any order: a name or a figure stands there"
                    .to_owned(),
            ));
        }
        self.phrases.push(Phrase { id, text, fuzzy, used_in, line });
        Ok(())
    }

    fn header(&mut self, line: usize, text: &str) -> Result<(), Refused> {
        self.header_seen = true;
        let field = |name: &str| {
            let mut lines = text.split('\n').filter_map(|l| l.split_once(':'));
            lines
                .find(|(key, _)| key.trim().eq_ignore_ascii_case(name))
                .map(|(_, value)| value.trim().to_owned())
        };
        if let Some(kind) = field("Content-Type") {
            let kind = kind.to_ascii_lowercase();
            let charset = kind.split_once("charset=").map(|(_, c)| c.trim().to_owned());
            if charset.is_some_and(|c| c != "utf-8" && c != "utf8" && c != "charset") {
                return Err(Refused::at(
                    (line, 1),
                    "the header names a character set other than UTF-8".to_owned(),
                    "save the file as UTF-8, with “Content-Type: text/plain; charset=UTF-8”".to_owned(),
                ));
            }
        }
        let Some(named) = field("Language").filter(|l| !l.is_empty()) else { return Ok(()) };
        let tag = Tag::of(&named).ok_or_else(|| {
            Refused::at(
                (line, 1),
                format!("“{}” is no language", shortened(&named)),
                "write its code in the header, such as “Language: de” or “Language: pt_BR”".to_owned(),
            )
        })?;
        self.language = Some(tag);
        Ok(())
    }
}

fn no_text(line: usize) -> Refused {
    Refused::at(
        (line, 1),
        "this msgid has no msgstr below it".to_owned(),
        "write msgstr \"\" where there is no translation yet".to_owned(),
    )
}

fn shortened(text: &str) -> String {
    let short: String = text.chars().take(40).collect();
    if short.len() < text.len() { format!("{short}…") } else { short }
}

/// A string in quotation marks, with nothing behind it.
fn string(place: (usize, usize), text: &str) -> Result<String, Refused> {
    let refused = |skipped: usize, message: &str, remedy: &str| {
        Refused::at((place.0, place.1 + skipped), message.to_owned(), remedy.to_owned())
    };
    let mut chars = text.chars().enumerate();
    if chars.next().is_none_or(|(_, c)| c != '"') {
        return Err(refused(0, "a text in quotation marks is expected here", "put \" before and behind it"));
    }
    let mut said = String::with_capacity(text.len());
    while let Some((n, c)) = chars.next() {
        match c {
            '"' => {
                return match chars.find(|(_, c)| !c.is_whitespace()) {
                    None => Ok(said),
                    Some((n, _)) => Err(refused(
                        n,
                        "something stands behind the closing quotation mark",
                        "write \\\" for a quotation mark within the text",
                    )),
                };
            }
            '\\' => match chars.next().map(|(_, c)| c) {
                Some('n') => said.push('\n'),
                Some('t') => said.push('\t'),
                Some('r') => said.push('\r'),
                Some(c @ ('"' | '\\')) => said.push(c),
                _ => {
                    return Err(refused(
                        n,
                        "this backslash stands for nothing known here",
                        "write \\\\ for a backslash, \\\" for a quotation mark, \\n for a new line",
                    ));
                }
            },
            c if c.is_control() && c != '\t' => {
                return Err(refused(n, "a control character stands here", "take it out"));
            }
            c => said.push(c),
        }
    }
    Err(refused(text.chars().count(), "the closing quotation mark is missing", "end the line with \""))
}
