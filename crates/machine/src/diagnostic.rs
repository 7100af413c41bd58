//! What is wrong with a machine file: what, where, and how to mend it.

use crate::model::Span;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The machine cannot be used.
    Error,
    /// The machine can be used; a person should look.
    Warning,
}

/// One finding in a machine file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// Error or warning.
    pub severity: Severity,
    /// A stable short name of the rule: `unknown-key`.
    pub rule: &'static str,
    /// What is wrong, one sentence.
    pub message: String,
    /// The offending bytes.
    pub span: Span,
    /// What to write under the offending text.
    pub label: String,
    /// How to mend it; one line each.
    pub remedies: Vec<String>,
}

impl Diagnostic {
    /// An error.
    pub fn error(rule: &'static str, span: Span, message: impl Into<String>) -> Diagnostic {
        Diagnostic {
            severity: Severity::Error,
            rule,
            message: message.into(),
            span,
            label: String::new(),
            remedies: Vec::new(),
        }
    }

    /// A warning.
    pub fn warning(rule: &'static str, span: Span, message: impl Into<String>) -> Diagnostic {
        Diagnostic { severity: Severity::Warning, ..Diagnostic::error(rule, span, message) }
    }

    /// Adds the words under the offending text.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Diagnostic {
        self.label = label.into();
        self
    }

    /// Adds a line that says how to mend it.
    #[must_use]
    pub fn mend(mut self, remedy: impl Into<String>) -> Diagnostic {
        self.remedies.push(remedy.into());
        self
    }

    /// The bytes to underline: the first line of the span only, since a whole table would drown the message, and always on
    /// character borders inside the text.
    pub fn underlined(&self, text: &str) -> Span {
        let start = border(text, self.span.start);
        let end = border(text, self.span.end.max(start));
        let line = text[start..end].lines().next().map_or(0, |l| l.trim_end().len());
        start..start + line
    }
}

fn border(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// The known name nearest to `name`, if one is near enough to be meant.
pub fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    known
        .map(|k| (strsim::damerau_levenshtein(name, k), k))
        .filter(|&(d, k)| d <= 1 + k.chars().count() / 4)
        .min()
        .map(|(_, k)| k)
}

/// Line and column (both from 1, columns in characters) of a byte offset.
pub fn line_column(text: &str, offset: usize) -> (usize, usize) {
    let before = &text[..border(text, offset)];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
    (line, column)
}
