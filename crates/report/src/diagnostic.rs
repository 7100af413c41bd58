//! What is wrong with a machine file, for programs.

use machine::diagnostic::{Diagnostic, Severity, line_column};
use serde_json::{Value, json};

/// A finding for a program to read; the keys stand in `docs/json.md`.
pub fn json(text: &str, finding: &Diagnostic) -> Value {
    let (line, column) = line_column(text, finding.span.start);
    let severity = match finding.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
    };
    json!({
        "severity": severity,
        "rule": finding.rule,
        "message": finding.message,
        "line": line,
        "column": column,
        "text": &text[finding.underlined(text)],
        "label": finding.label,
        "to_mend": finding.remedies,
    })
}
