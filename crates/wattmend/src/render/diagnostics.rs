//! Findings in a machine file, with the offending text underlined.

use super::Screen;
use super::wrap::wrap;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use machine::diagnostic::{Diagnostic, Severity};
use std::fmt::Write;

/// Columns before the words of a remedy: line numbers of up to four digits and "= to mend: ".
const BEFORE_REMEDY: usize = 16;

/// All findings in a machine file, each with its place and remedy, and a closing line that counts them.
pub(crate) fn render(name: &str, text: &str, found: &[Diagnostic], screen: &Screen) -> String {
    format!("{}{}", each(name, text, found, screen), closing_line(name, found, "The machine was not loaded."))
}

/// The same for an evidence file.
pub(crate) fn render_evidence(name: &str, text: &str, found: &[Diagnostic], screen: &Screen) -> String {
    format!("{}{}", each(name, text, found, screen), closing_line(name, found, "The evidence was not read."))
}

/// The same for a visit file.
pub(crate) fn render_visit(name: &str, text: &str, found: &[Diagnostic], screen: &Screen) -> String {
    format!("{}{}", each(name, text, found, screen), closing_line(name, found, "Nothing was written."))
}

/// The same for a file of sockets.
pub(crate) fn render_meters(name: &str, text: &str, found: &[Diagnostic], screen: &Screen) -> String {
    format!("{}{}", each(name, text, found, screen), closing_line(name, found, "No meter was tried."))
}

fn each(name: &str, text: &str, found: &[Diagnostic], screen: &Screen) -> String {
    let renderer = if screen.styled { Renderer::styled() } else { Renderer::plain() };
    let renderer = renderer.term_width(screen.columns);
    let mut out = String::new();
    for finding in found {
        out.push_str(&one(name, text, finding, &renderer, screen.columns));
        out.push_str("\n\n");
    }
    out
}

fn one(name: &str, text: &str, finding: &Diagnostic, renderer: &Renderer, columns: usize) -> String {
    let level = match finding.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mark = AnnotationKind::Primary.span(finding.underlined(text)).label(finding.label.as_str());
    let remedies = finding
        .remedies
        .iter()
        .map(|r| Level::HELP.with_name("to mend").message(folded(r, BEFORE_REMEDY, columns)));
    let group = level
        .primary_title(folded(&finding.message, "warning[]: ".len() + finding.rule.len(), columns))
        .id(finding.rule)
        .element(Snippet::source(text).path(name).annotation(mark))
        .elements(remedies);
    renderer.render(&[group])
}

/// A message in lines short enough to stand behind what comes before it.
fn folded(message: &str, before: usize, columns: usize) -> String {
    wrap("", "", message, columns.saturating_sub(before)).trim_end().to_owned()
}

/// "2 errors, 1 warning in FILE. The machine was not loaded."
fn closing_line(name: &str, found: &[Diagnostic], refused: &str) -> String {
    let (errors, warnings) = count(found);
    let mut line = String::new();
    // Writing to a String cannot fail.
    let _ = match (errors, warnings) {
        (0, 0) => writeln!(line, "{name}: nothing to mend."),
        (0, _) => writeln!(line, "{} in {name}. The machine can be used.", plural(warnings, "warning")),
        (_, 0) => writeln!(line, "{} in {name}. {refused}", plural(errors, "error")),
        _ => writeln!(
            line,
            "{}, {} in {name}. {refused}",
            plural(errors, "error"),
            plural(warnings, "warning")
        ),
    };
    line
}

/// Errors and warnings.
pub(crate) fn count(found: &[Diagnostic]) -> (usize, usize) {
    let errors = found.iter().filter(|d| d.severity == Severity::Error).count();
    (errors, found.len() - errors)
}

fn plural(n: usize, word: &str) -> String {
    if n == 1 { format!("1 {word}") } else { format!("{n} {word}s") }
}

#[cfg(test)]
mod tests {
    use super::{Screen, render};
    use report::diagnostic;

    /// A file cut off anywhere, as after a full disk, is told of without a panic; every place lies in the text.
    #[test]
    fn a_file_cut_off_anywhere_is_told_of() {
        let whole = include_str!("../../../machine/tests/good/small.toml");
        let screen = Screen { columns: 60, styled: false };
        for cut in (0..whole.len()).step_by(7).filter(|&c| whole.is_char_boundary(c)) {
            let text = &whole[..cut];
            let found = machine::read::read(text, None).diagnostics;
            let printed = render("cut.toml", text, &found, &screen);
            assert!(printed.ends_with("cut.toml. The machine was not loaded.\n"), "{cut}: {printed}");
            for finding in &found {
                let line = diagnostic::json(text, finding)["line"].as_u64().unwrap_or(u64::MAX);
                assert!(line <= text.lines().count() as u64 + 1, "{cut}: line {line}");
            }
        }
    }
}
