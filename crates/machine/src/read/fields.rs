//! One table of the file, read key by key; every complaint goes to the list, none stops the reading.

use crate::diagnostic::{Diagnostic, nearest};
use crate::model::Span;
use crate::schema::{self, Form, Key};
use quantity::{Dimension, NotationError, Toleranced};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Collects diagnostics.
#[derive(Default)]
pub(super) struct Findings(pub(super) Vec<Diagnostic>);

impl Findings {
    pub(super) fn push(&mut self, d: Diagnostic) {
        self.0.push(d);
    }
}

/// A text of the file with its place.
#[derive(Clone, Debug)]
pub(super) struct Text {
    pub(super) text: String,
    pub(super) span: Span,
}

impl Text {
    /// The place of a part of the text. Right for texts without escapes; else the whole text.
    pub(super) fn part(&self, range: &Span) -> Span {
        let quotes = (self.span.len().saturating_sub(self.text.len())) / 2;
        if self.span.len() == self.text.len() + 2 * quotes && (quotes == 1 || quotes == 3) {
            self.span.start + quotes + range.start..self.span.start + quotes + range.end.max(range.start + 1)
        } else {
            self.span.clone()
        }
    }

    /// Parses with a notation, reporting what is wrong with it where it stands.
    pub(super) fn parse<T>(
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
pub(super) struct Fields<'t> {
    table: &'t DeTable<'t>,
    name: String,
    span: Span,
}

impl<'t> Fields<'t> {
    /// Opens a table: reports unknown and missing keys against `keys`.
    pub(super) fn open(
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
    pub(super) fn bare(table: &'t DeTable<'t>, name: impl Into<String>, span: Span) -> Fields<'t> {
        Fields { table, name: name.into(), span }
    }

    /// Reports keys that are not known, with the nearest that is.
    pub(super) fn refuse_unknown<'k>(
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

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    pub(super) fn span(&self) -> Span {
        self.span.clone()
    }

    pub(super) fn get(&self, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.table.get(key)
    }

    fn wrong_form(&self, findings: &mut Findings, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) {
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
    pub(super) fn text(&self, key: &str, findings: &mut Findings) -> Option<Text> {
        let value = self.get(key)?;
        let text = as_text(value);
        if text.is_none() {
            self.wrong_form(findings, key, value, "text in quotation marks (a quantity with its unit)");
        }
        text
    }

    /// A text, or the empty one.
    pub(super) fn words(&self, key: &str, findings: &mut Findings) -> String {
        self.text(key, findings).map(|t| t.text).unwrap_or_default()
    }

    /// A quantity.
    pub(super) fn quantity(
        &self,
        key: &str,
        dimension: Dimension,
        findings: &mut Findings,
    ) -> Option<Toleranced> {
        self.text(key, findings)?.parse(findings, |t| quantity::parse_toleranced(t, dimension))
    }

    /// A bare number.
    pub(super) fn number(&self, key: &str, findings: &mut Findings) -> Option<f64> {
        let value = self.get(key)?;
        let number = as_number(value.get_ref());
        if number.is_none_or(|n| !n.is_finite() || n < 0.0) {
            self.wrong_form(findings, key, value, "a number, 0 or more");
            return None;
        }
        number
    }

    /// A flag.
    pub(super) fn flag(&self, key: &str, findings: &mut Findings) -> bool {
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
    pub(super) fn texts(&self, key: &str, findings: &mut Findings) -> Vec<Text> {
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
    pub(super) fn words_list(&self, key: &str, findings: &mut Findings) -> Vec<String> {
        self.texts(key, findings).into_iter().map(|t| t.text).collect()
    }

    /// A table under a key.
    pub(super) fn table(&self, key: &str, findings: &mut Findings) -> Option<(&'t DeTable<'t>, Span)> {
        let value = self.get(key)?;
        if let DeValue::Table(table) = value.get_ref() {
            Some((table, value.span()))
        } else {
            self.wrong_form(findings, key, value, "a table");
            None
        }
    }

    /// The tables under free names: `[access.lid]`.
    pub(super) fn named_tables(
        &self,
        key: &str,
        findings: &mut Findings,
    ) -> Vec<(Text, &'t DeTable<'t>, Span)> {
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
    pub(super) fn tables(&self, key: &str, findings: &mut Findings) -> Vec<(&'t DeTable<'t>, Span)> {
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
    pub(super) fn text_by_name(&self, key: &str, findings: &mut Findings) -> Vec<(Text, Text)> {
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
    pub(super) fn number_by_name(&self, key: &str, findings: &mut Findings) -> Vec<(Text, f64)> {
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
pub(super) fn as_text(value: &Spanned<DeValue<'_>>) -> Option<Text> {
    match value.get_ref() {
        DeValue::String(s) => Some(Text { text: s.to_string(), span: value.span() }),
        _ => None,
    }
}

/// The number of a value, if it is one.
pub(super) fn as_number(value: &DeValue<'_>) -> Option<f64> {
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
