//! The record on pages, as PDF/UA-1 and, as far as its day is known, PDF/A-2a.
//!
//! Data flows one way: [`JobRecord`] → view (`view.rs`: amounts and claims as text) → `data.json` → page (`record.typ`) →
//! bytes (`world.rs`). What the user wrote reaches the page as data only.

mod view;
#[cfg(feature = "typeset")]
mod world;
#[cfg(not(feature = "typeset"))]
#[path = "no_world.rs"]
mod world;

use crate::record::JobRecord;
use jiff::civil::Date;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use world::{Fonts, Job};

/// Largest picture that is set, bytes: far beyond a long trace.
const LARGEST_SVG: usize = 4 << 20;

/// Longest record, bytes of its data: hundreds of pages.
const LARGEST_DATA: usize = 2 << 20;

/// How far the customer's page can be drawn together, in steps of smaller type, and then with fewer lines.
const TIGHTEST: u8 = 4;

/// Most characters that are named in a message.
const NAMED: usize = 12;

/// Which of the two papers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Everything, for the file.
    Full,
    /// One page for the customer: no suspects, no readings but those of the safety test.
    Customer,
}

/// Size of the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm.
    #[default]
    A4,
    /// 8.5 × 11 in.
    Letter,
}

/// A document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pdf {
    /// The file.
    pub bytes: Vec<u8>,
    /// Number of pages.
    pub pages: usize,
    /// Characters that no font at hand can show, each once. In the document they stand as `[U+4E2D]`, and it says so.
    pub unshown: Vec<char>,
}

/// A drawing on a sheet of its own, with words above.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    /// Heading.
    pub title: String,
    /// Paragraphs above the drawing.
    pub text: Vec<String>,
    /// Rows of a table, its headings first; empty: none.
    pub table: Vec<Vec<String>>,
    /// The drawing, as an SVG document; empty: none.
    pub svg: String,
    /// What it shows, in words, for who cannot see it.
    pub svg_says: String,
    /// The drawing takes the whole page, to its edges; heading, text and table are left out.
    pub whole_page: bool,
}

/// Why there is no document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PdfError {
    /// The file of this place in the list is no font.
    NoFont(usize),
    /// A picture or the record is larger than any real one.
    TooLarge(&'static str),
    /// The currency of the bill is none.
    Money(String),
    /// It could not be set.
    NotSet(String),
    /// This program was built without the typesetter.
    NoTypesetter,
}

impl fmt::Display for PdfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PdfError::NoFont(at) => write!(f, "font file {} holds no font", at + 1),
            PdfError::TooLarge(what) => write!(f, "{what} is larger than any real one"),
            PdfError::Money(why) => f.write_str(why),
            PdfError::NotSet(why) => write!(f, "the page could not be set: {why}"),
            PdfError::NoTypesetter => f.write_str(
                "this program was built without the typesetter; `cargo build --release` makes one with it",
            ),
        }
    }
}

impl std::error::Error for PdfError {}

impl Paper {
    /// By its name, `a4` or `letter`.
    pub fn named(name: &str) -> Option<Paper> {
        match name.trim().to_lowercase().as_str() {
            "a4" => Some(Paper::A4),
            "letter" => Some(Paper::Letter),
            _ => None,
        }
    }

    /// What typst calls it.
    fn name(self) -> &'static str {
        match self {
            Paper::A4 => "a4",
            Paper::Letter => "us-letter",
        }
    }
}

impl Pdf {
    /// What could not be shown, for a message: `中 文 (U+4E2D, U+6587)`; nothing where all could.
    pub fn unshown_words(&self) -> Option<String> {
        if self.unshown.is_empty() {
            return None;
        }
        let codes: Vec<String> = self.unshown.iter().take(NAMED).map(|c| code(*c)).collect();
        let more = self.unshown.len().saturating_sub(NAMED);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        Some(format!("{}{more}", codes.join(", ")))
    }
}

/// The record as a PDF. `fonts` are font files (TrueType, OpenType, collections) used after the shipped ones, for scripts that
/// those lack; they are embedded.
///
/// # Errors
/// Where a font file is none, the trace is no SVG document, or something is larger than any real one.
pub fn pdf(record: &JobRecord, form: Form, paper: Paper, fonts: &[Vec<u8>]) -> Result<Pdf, PdfError> {
    let fonts = Fonts::with(fonts)?;
    let mut data = view::of(record, form)?;
    data["paper"] = json!(paper.name());
    let mut files = BTreeMap::new();
    if form == Form::Full && !record.found.trace_svg.is_empty() {
        files.insert("trace.svg".to_owned(), picture(&record.found.trace_svg, &fonts)?);
    }
    let most = if form == Form::Customer { TIGHTEST } else { 0 };
    for tight in 0..=most {
        data["tight"] = json!(tight);
        let set = set(include_str!("record.typ"), &data, &files, &fonts, record.date)?;
        if set.pages == 1 || tight == most {
            return Ok(set);
        }
    }
    // The loop runs at least once and returns at its last step.
    Err(PdfError::NotSet("no page".to_owned()))
}

/// Characters of a record that no font at hand can show, for a message ([`Pdf::unshown_words`]); nothing is set.
///
/// # Errors
/// Where a font file is none, or the bill has no currency.
pub fn unshown(record: &JobRecord, fonts: &[Vec<u8>]) -> Result<Option<String>, PdfError> {
    let fonts = Fonts::with(fonts)?;
    let mut unshown = BTreeSet::new();
    spelled(&view::of(record, Form::Full)?, &fonts, &mut unshown);
    Ok(Pdf { bytes: Vec::new(), pages: 0, unshown: unshown.into_iter().collect() }.unshown_words())
}

/// Is this file a font, or a collection of some, that pages can be set with?
pub fn is_font(file: &[u8]) -> bool {
    Fonts::with(&[file.to_vec()]).is_ok()
}

/// Drawings, tables and text on pages, a heading each: a fault chart, the wiring, the guide to a service test.
///
/// # Errors
/// As [`pdf()`].
pub fn sheets_pdf(title: &str, sheets: &[Sheet], paper: Paper, fonts: &[Vec<u8>]) -> Result<Pdf, PdfError> {
    let fonts = Fonts::with(fonts)?;
    let mut files = BTreeMap::new();
    let mut shown = Vec::new();
    for (at, sheet) in sheets.iter().enumerate() {
        let name = format!("sheet-{at}.svg");
        let drawing = if sheet.svg.is_empty() { "" } else { name.as_str() };
        shown.push(json!({
            "title": sheet.title, "text": sheet.text, "table": sheet.table, "drawing": drawing, "says": sheet.svg_says,
            "whole": sheet.whole_page,
        }));
        if !sheet.svg.is_empty() {
            files.insert(name, picture(&sheet.svg, &fonts)?);
        }
    }
    let data = json!({ "title": title, "paper": paper.name(), "sheets": shown });
    set(include_str!("sheets.typ"), &data, &files, &fonts, None)
}

fn set(
    template: &'static str,
    data: &Value,
    pictures: &BTreeMap<String, Vec<u8>>,
    fonts: &Fonts,
    date: Option<Date>,
) -> Result<Pdf, PdfError> {
    let mut unshown = BTreeSet::new();
    let mut data = spelled(data, fonts, &mut unshown);
    data["unshown"] = json!(!unshown.is_empty());
    let data = data.to_string().into_bytes();
    if data.len() > LARGEST_DATA {
        return Err(PdfError::TooLarge("the record"));
    }
    let mut files = pictures.clone();
    files.insert("data.json".to_owned(), data);
    let (bytes, pages) = world::set(Job { template, files, fonts, date })?;
    Ok(Pdf { bytes, pages, unshown: unshown.into_iter().collect() })
}

/// The same data, each character that no font shows spelled by its code.
fn spelled(data: &Value, fonts: &Fonts, unshown: &mut BTreeSet<char>) -> Value {
    match data {
        Value::String(text) => {
            fonts.unshown(text, unshown);
            Value::String(shown(text, fonts))
        }
        Value::Array(items) => items.iter().map(|v| spelled(v, fonts, unshown)).collect(),
        Value::Object(keys) => keys.iter().map(|(k, v)| (k.clone(), spelled(v, fonts, unshown))).collect(),
        other => other.clone(),
    }
}

fn shown(text: &str, fonts: &Fonts) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        if fonts.show(c) {
            out.push(c);
        } else {
            out.push_str(&format!("[{}]", code(c)));
        }
        out
    })
}

fn code(c: char) -> String {
    format!("U+{:04X}", u32::from(c))
}

fn picture(svg: &str, fonts: &Fonts) -> Result<Vec<u8>, PdfError> {
    if svg.len() > LARGEST_SVG {
        return Err(PdfError::TooLarge("a picture"));
    }
    Ok(shown(svg, fonts).into_bytes())
}
