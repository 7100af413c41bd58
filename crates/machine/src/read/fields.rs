//! One table of a TOML file, read key by key; every complaint goes to the list, none stops the reading.
//! Evidence files (`diagnosis`) are read with the same means.

use crate::diagnostic::{Diagnostic, nearest};
use crate::model::Span;
use crate::schema::{self, Form, Key};
use quantity::{Dimension, NotationError, Toleranced};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Collects diagnostics.
#[derive(Default)]
pub struct Findings(Vec<Diagnostic>);

impl Findings {
    /// Adds one.
    pub fn push(&mut self, d: Diagnostic) {
        self.0.push(d);
    }

    /// All of them in the order of `text`, each within it.
    pub fn in_order(self, text: &str) -> Vec<Diagnostic> {
        let mut found = self.0;
        for finding in &mut found {
            finding.span = within(text, &finding.span);
        }
        found.sort_by_key(|d| (d.span.start, d.span.end, d.severity));
        found.dedup();
        found
    }
}

/// Parses TOML; what is no TOML is reported, the rest is there to be read.
pub fn document<'t>(text: &'t str, findings: &mut Findings) -> DeTable<'t> {
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in syntax(&errors) {
        findings.push(error);
    }
    document.into_inner()
}

/// Where to point for what concerns the whole file: its first line.
pub fn first_line(text: &str) -> Span {
    0..text.find('\n').unwrap_or(text.len()).max(1)
}

/// A text of the file with its place.
#[derive(Clone, Debug)]
pub struct Text {
    /// Without its quotation marks.
    pub text: String,
    /// With them.
    pub span: Span,
}

impl Text {
    /// The place of a part of the text. Right for texts without escapes; else the whole text.
    pub fn part(&self, range: &Span) -> Span {
        let quotes = (self.span.len().saturating_sub(self.text.len())) / 2;
        if self.span.len() == self.text.len() + 2 * quotes && (quotes == 1 || quotes == 3) {
            self.span.start + quotes + range.start..self.span.start + quotes + range.end.max(range.start + 1)
        } else {
            self.span.clone()
        }
    }

    /// Parses with a notation, reporting what is wrong with it where it stands.
    pub fn parse<T>(
        &self,
        findings: &mut Findings,
        parse: impl FnOnce(&str) -> Result<T, NotationError>,
    ) -> Option<T> {
        match parse(&self.text) {
            Ok(value) => Some(value),
            Err(e) => {
                findings.push(
                    Diagnostic::error("notation", self.part(&e.span), e.message.clone())
                        .mend(e.remedy.clone()),
                );
                None
            }
        }
    }
}

/// A table, with the keys that the schema gives it.
pub struct Fields<'t> {
    table: &'t DeTable<'t>,
    name: String,
    span: Span,
}

impl<'t> Fields<'t> {
    /// Opens a table: reports unknown and missing keys against `keys`.
    pub fn open(
        table: &'t DeTable<'t>,
        name: impl Into<String>,
        span: Span,
        keys: &schema::Table,
        findings: &mut Findings,
    ) -> Fields<'t> {
        let fields = Fields { table, name: name.into(), span };
        fields.refuse_unknown(
            findings,
            |k| keys.keys.iter().any(|known| known.name == k),
            || keys.keys.iter().map(|k| k.name).collect(),
        );
        for key in keys.keys.iter().filter(|k| k.must) {
            if !table.contains_key(key.name) {
                findings.push(
                    Diagnostic::error(
                        "missing-key",
                        fields.span.clone(),
                        format!("{} lacks `{}`", fields.name, key.name),
                    )
                    .label(key.about)
                    .mend(format!("add {} ({})", as_written(key), key.about)),
                );
            }
        }
        fields
    }

    /// Opens a table whose keys are judged elsewhere.
    pub fn bare(table: &'t DeTable<'t>, name: impl Into<String>, span: Span) -> Fields<'t> {
        Fields { table, name: name.into(), span }
    }

    /// Reports keys that are not known, with the nearest that is.
    pub fn refuse_unknown<'k>(
        &self,
        findings: &mut Findings,
        known: impl Fn(&str) -> bool,
        all: impl Fn() -> Vec<&'k str>,
    ) {
        for key in self.table.keys() {
            let name: &str = key.get_ref();
            if known(name) {
                continue;
            }
            let all = all();
            let mut d =
                Diagnostic::error("unknown-key", key.span(), format!("{} has no key `{name}`", self.name))
                    .label("not a key here");
            d = match nearest(name, all.iter().copied()) {
                Some(near) => d.mend(format!("did you mean `{near}`?")),
                None => d.mend(format!("keys here: {}", all.join(", "))),
            };
            findings.push(d);
        }
    }

    /// Its name, for messages.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Where it stands.
    pub fn span(&self) -> Span {
        self.span.clone()
    }

    /// The value of a key.
    pub fn get(&self, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.table.get(key)
    }

    /// Reports a value that is not what its key takes.
    pub fn wrong_form(&self, findings: &mut Findings, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) {
        findings.push(
            Diagnostic::error(
                "wrong-form",
                value.span(),
                format!("`{key}` of {} must be {wanted}", self.name),
            )
            .label(format!("this is {}", form_of(value.get_ref())))
            .mend(format!("write `{key}` as {wanted}")),
        );
    }

    /// A text.
    pub fn text(&self, key: &str, findings: &mut Findings) -> Option<Text> {
        let value = self.get(key)?;
        let text = as_text(value);
        if text.is_none() {
            self.wrong_form(findings, key, value, "text in quotation marks (a quantity with its unit)");
        }
        text
    }

    /// A text, or the empty one.
    pub fn words(&self, key: &str, findings: &mut Findings) -> String {
        self.text(key, findings).map(|t| t.text).unwrap_or_default()
    }

    /// A quantity.
    pub fn quantity(&self, key: &str, dimension: Dimension, findings: &mut Findings) -> Option<Toleranced> {
        self.text(key, findings)?.parse(findings, |t| quantity::parse_toleranced(t, dimension))
    }

    /// A bare number.
    pub fn number(&self, key: &str, findings: &mut Findings) -> Option<f64> {
        let value = self.get(key)?;
        let number = as_number(value.get_ref());
        if number.is_none_or(|n| !n.is_finite() || n < 0.0) {
            self.wrong_form(findings, key, value, "a number, 0 or more");
            return None;
        }
        number
    }

    /// A flag.
    pub fn flag(&self, key: &str, findings: &mut Findings) -> bool {
        match self.get(key) {
            None => false,
            Some(value) => {
                if let DeValue::Boolean(b) = value.get_ref() {
                    *b
                } else {
                    self.wrong_form(findings, key, value, "true or false");
                    false
                }
            }
        }
    }

    /// A list of texts; a single text counts as a list of one.
    pub fn texts(&self, key: &str, findings: &mut Findings) -> Vec<Text> {
        let Some(value) = self.get(key) else { return Vec::new() };
        if let Some(text) = as_text(value) {
            return vec![text];
        }
        let DeValue::Array(items) = value.get_ref() else {
            self.wrong_form(findings, key, value, "a list of texts");
            return Vec::new();
        };
        let mut texts = Vec::new();
        for item in items {
            match as_text(item) {
                Some(text) => texts.push(text),
                None => self.wrong_form(findings, key, item, "a list of texts"),
            }
        }
        texts
    }

    /// The plain words of a list.
    pub fn words_list(&self, key: &str, findings: &mut Findings) -> Vec<String> {
        self.texts(key, findings).into_iter().map(|t| t.text).collect()
    }

    /// A table under a key.
    pub fn table(&self, key: &str, findings: &mut Findings) -> Option<(&'t DeTable<'t>, Span)> {
        let value = self.get(key)?;
        if let DeValue::Table(table) = value.get_ref() {
            Some((table, value.span()))
        } else {
            self.wrong_form(findings, key, value, "a table");
            None
        }
    }

    /// The tables under free names: `[access.lid]`.
    pub fn named_tables(&self, key: &str, findings: &mut Findings) -> Vec<(Text, &'t DeTable<'t>, Span)> {
        let Some((table, _)) = self.table(key, findings) else { return Vec::new() };
        let mut out = Vec::new();
        for (name, value) in table {
            if let DeValue::Table(inner) = value.get_ref() {
                let text = Text { text: name.get_ref().to_string(), span: name.span() };
                out.push((text, inner, value.span()));
            } else {
                self.wrong_form(findings, name.get_ref(), value, "a table");
            }
        }
        // The parser sorts by name; a person reads in the order of the file.
        out.sort_by_key(|(name, _, _)| name.span.start);
        out
    }

    /// A list of tables: `[[guard]]`.
    pub fn tables(&self, key: &str, findings: &mut Findings) -> Vec<(&'t DeTable<'t>, Span)> {
        let Some(value) = self.get(key) else { return Vec::new() };
        let DeValue::Array(items) = value.get_ref() else {
            self.wrong_form(findings, key, value, &format!("a list of tables, each under [[{key}]]"));
            return Vec::new();
        };
        let mut out = Vec::new();
        for item in items {
            match item.get_ref() {
                DeValue::Table(table) => out.push((table, item.span())),
                _ => self.wrong_form(findings, key, item, "a list of tables"),
            }
        }
        out
    }

    /// Free keys with texts.
    pub fn text_by_name(&self, key: &str, findings: &mut Findings) -> Vec<(Text, Text)> {
        let Some((table, _)) = self.table(key, findings) else { return Vec::new() };
        let mut out = Vec::new();
        for (name, value) in table {
            match as_text(value) {
                Some(text) => out.push((Text { text: name.get_ref().to_string(), span: name.span() }, text)),
                None => self.wrong_form(findings, name.get_ref(), value, "text"),
            }
        }
        out
    }

    /// Free keys with numbers.
    pub fn number_by_name(&self, key: &str, findings: &mut Findings) -> Vec<(Text, f64)> {
        let Some((table, span)) = self.table(key, findings) else { return Vec::new() };
        let inner = Fields::bare(table, format!("`{key}`"), span);
        table
            .iter()
            .filter_map(|(name, _)| {
                let number = inner.number(name.get_ref(), findings)?;
                Some((Text { text: name.get_ref().to_string(), span: name.span() }, number))
            })
            .collect()
    }
}

/// The text of a value, if it is one.
pub fn as_text(value: &Spanned<DeValue<'_>>) -> Option<Text> {
    match value.get_ref() {
        DeValue::String(s) => Some(Text { text: s.to_string(), span: value.span() }),
        _ => None,
    }
}

/// The number of a value, if it is one.
pub fn as_number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok().map(|n| n as f64),
        DeValue::Float(f) => f.as_str().parse().ok(),
        _ => None,
    }
}

fn form_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// A missing key as it is written into a file.
fn as_written(key: &Key) -> String {
    match key.form {
        Form::Table(table) | Form::Tables(table) if table.name.starts_with('[') => {
            format!("a table {}", table.name)
        }
        Form::Parts | Form::Names(_) => format!("a table [{}.NAME] for each", key.name),
        _ if key.name == "format" => "`format = 1`".to_owned(),
        _ => format!("`{} = …`", key.name),
    }
}

/// The span, cut to the text and to whole characters: an empty file has nothing to underline.
fn within(text: &str, span: &Span) -> Span {
    let whole = |mut at: usize| {
        at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at += 1;
        }
        at
    };
    let start = whole(span.start);
    start..whole(span.end).max(start)
}

/// Syntax errors of the TOML itself. One slip makes a recovering parser stumble several times; only the first of each
/// stretch of neighbouring lines helps a person.
fn syntax(errors: &[toml::de::Error]) -> Vec<Diagnostic> {
    let mut found: Vec<Diagnostic> = Vec::new();
    for error in errors {
        let span = error.span().unwrap_or(0..1);
        if found.last().is_some_and(|last| span.start < last.span.end + 80) {
            continue;
        }
        let duplicate = error.message().contains("duplicate");
        found.push(Diagnostic::error("toml", span, format!("this is not TOML: {}", error.message())).mend(
            if duplicate {
                "each key may stand once; a list of tables is written with double brackets: [[guard]]"
            } else {
                "texts stand in quotation marks, lists in [ ], tables as [name] on a line of their own"
            },
        ));
    }
    found
}

/// Is `format`, where it is stated, one that this program reads (up to `newest`)? Only a newer one stops the reading.
pub fn format_is_known(table: &DeTable<'_>, newest: i64, findings: &mut Findings) -> bool {
    let Some(value) = table.get("format") else { return true };
    match as_number(value.get_ref()) {
        Some(n) if n == newest as f64 => true,
        Some(n) if n > newest as f64 => {
            findings.push(
                Diagnostic::error(
                    "newer-format",
                    value.span(),
                    format!("this file is in format {n}; this Wattmend reads up to format {newest}"),
                )
                .label("written for a newer Wattmend")
                .mend("update Wattmend, or ask whoever made the file for one in format 1")
                .mend("nothing was changed"),
            );
            false
        }
        _ => {
            findings.push(
                Diagnostic::error("bad-format", value.span(), "`format` must be the number 1")
                    .mend("write `format = 1`"),
            );
            true
        }
    }
}
