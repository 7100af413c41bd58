//! From the text of a machine file to a [`Machine`], with every error found in one pass.
//!
//! Order: TOML → rating plate and panels → parts with the parameters of their kinds → wiring → what the board does →
//! the service test. A stage goes on with what the stage before could make sense of, so that one slip does not hide
//! the next; a [`Machine`] comes out only when there was no error at all.

mod board;
mod fields;
mod nets;
mod parts;
mod plate;
mod test;

use crate::diagnostic::{Diagnostic, Severity};
use crate::model::{Machine, Plate, Span};
use crate::schema;
use fields::{Fields, Findings};
use toml::de::DeTable;

/// Largest file that is read, bytes. A complete machine takes about 20 kB.
pub const LARGEST_FILE: usize = 1_000_000;

/// What came of reading a file.
#[derive(Debug)]
pub struct Outcome {
    /// The machine, when nothing was wrong.
    pub machine: Option<Machine>,
    /// Errors and warnings in the order of the file.
    pub diagnostics: Vec<Diagnostic>,
}

impl Outcome {
    /// Number of errors.
    pub fn errors(&self) -> usize {
        self.diagnostics.iter().filter(|d| d.severity == Severity::Error).count()
    }
}

/// Reads a machine file as its first variant, or as the one named.
pub fn read(text: &str, variant: Option<&str>) -> Outcome {
    let mut findings = Findings::default();
    let machine = read_into(text, variant, &mut findings);
    let mut diagnostics = findings.0;
    for found in &mut diagnostics {
        found.span = within(text, &found.span);
    }
    diagnostics.sort_by_key(|d| (d.span.start, d.span.end, d.severity));
    diagnostics.dedup();
    let failed = diagnostics.iter().any(|d| d.severity == Severity::Error);
    Outcome { machine: machine.filter(|_| !failed), diagnostics }
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

fn read_into(text: &str, variant: Option<&str>, findings: &mut Findings) -> Option<Machine> {
    if text.len() > LARGEST_FILE {
        findings.push(
            Diagnostic::error("too-large", 0..1, format!("the file has {} bytes", text.len()))
                .mend(format!("a machine file may have {LARGEST_FILE} bytes; is this one?")),
        );
        return None;
    }
    if text.trim_start_matches('\u{feff}').trim().is_empty() {
        findings.push(
            Diagnostic::error("empty", 0..1, "the file is empty")
                .mend("`wattmend machine new KIND` starts a new file"),
        );
        return None;
    }
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in syntax(&errors) {
        findings.push(error);
    }
    let table = document.get_ref();
    if !format_is_known(table, findings) {
        return None;
    }
    let file = Fields::open(table, "the file", 0..first_line(text), &schema::FILE, findings);
    let (plate, panels, variant) = plate::read(&file, variant, findings);
    let mut draft = Draft { plate, panels, ..Draft::default() };
    draft.variant = variant;
    parts::read(&file, &mut draft, findings);
    nets::read(&file, &mut draft, findings);
    board::read(&file, &mut draft, findings);
    nets::check(&draft, findings);
    let test = test::read(&file, &draft, findings);
    Some(Machine {
        plate: draft.plate?,
        panels: draft.panels,
        parts: draft.parts,
        nodes: draft.nodes.into_names(),
        joints: draft.joints,
        outputs: draft.outputs,
        inputs: draft.inputs,
        guards: test.guards,
        functions: test.functions,
        test: test.test,
        codes: test.codes,
        checks: test.checks,
    })
}

/// What has been read so far.
#[derive(Default)]
struct Draft {
    plate: Option<Plate>,
    variant: Option<String>,
    panels: Vec<crate::model::Panel>,
    parts: Vec<crate::model::Part>,
    /// Parts of other variants, and parts of unknown kinds: names that may be mentioned but lead nowhere.
    absent: Vec<String>,
    nodes: nets::Nodes,
    joints: Vec<crate::model::Joint>,
    outputs: Vec<crate::model::Output>,
    inputs: Vec<crate::model::Input>,
}

impl Draft {
    fn part(&self, id: &str) -> Option<usize> {
        self.parts.iter().position(|p| p.id == id)
    }

    fn is_absent(&self, id: &str) -> bool {
        self.absent.iter().any(|a| a == id)
    }
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

fn format_is_known(table: &DeTable<'_>, findings: &mut Findings) -> bool {
    let Some(value) = table.get("format") else { return true };
    match fields::as_number(value.get_ref()) {
        Some(n) if n == schema::FORMAT as f64 => true,
        Some(n) if n > schema::FORMAT as f64 => {
            findings.push(
                Diagnostic::error(
                    "newer-format",
                    value.span(),
                    format!(
                        "this file is in format {n}; this Wattmend reads up to format {}",
                        schema::FORMAT
                    ),
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

fn first_line(text: &str) -> usize {
    text.find('\n').unwrap_or(text.len()).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_file_is_one_error() {
        for text in ["", "\n", "\u{feff}", " \t\r\n"] {
            let found = read(text, None).diagnostics;
            assert_eq!(found.iter().map(|d| d.message.as_str()).collect::<Vec<_>>(), ["the file is empty"]);
        }
    }

    /// Found by the fuzz target `machine_file`: an empty file, and one that begins in the middle of a character's bytes.
    #[test]
    fn findings_lie_in_the_text() {
        for text in ["", "ä", "ä = 1", "€\n", "format = 2\nü"] {
            let found = read(text, None).diagnostics;
            assert!(!found.is_empty(), "{text:?}");
            for finding in found {
                assert!(text.get(finding.span.clone()).is_some(), "{text:?}: {finding:?}");
            }
        }
    }
}
