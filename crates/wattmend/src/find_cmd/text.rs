//! What was found, for a person at the machine.

use super::{Found, next};
use crate::render::Screen;
use crate::render::table::{Column, Table};
use crate::render::wrap::wrap;
use diagnosis::finding::{StepVerdict, Verdict};
use quantity::{Dimension, format, format_pm};
use report::finding::words;

/// Where nothing is wrong with the machine, something else is.
const ELSEWHERE: &str = "then check the tap, the load, the programme, the socket";

/// The whole answer.
pub(super) fn render(found: &Found<'_>, screen: &Screen) -> String {
    let mut out = head(found, screen);
    out.push_str(&known(found, screen));
    out.push_str(&steps(found, screen));
    out.push_str(&suspects(found, screen));
    for conflict in &found.finding.conflicts {
        out.push_str(&wrap("\n! CONFLICT: ", "  ", &conflict.says, screen.columns));
    }
    out.push_str(&next::render(found, screen));
    out
}

fn head(found: &Found<'_>, screen: &Screen) -> String {
    let plate = &found.machine.plate;
    let variant =
        found.variant.filter(|v| *v != plate.model).map_or(String::new(), |v| format!(", variant {v}"));
    let name = format!("{} {}, {}{variant}", plate.maker, plate.model, plate.kind);
    let mut out = wrap("", "  ", &name, screen.columns);
    let c = &found.conditions;
    let recorded =
        found.evidence.trace.as_ref().is_some_and(|t| t.samples.iter().any(|s| s.voltage_v.is_some()));
    let supply = match found.evidence.supply {
        Some(_) => format!("Supply {}.", format_pm(c.supply_v, 2.0 * c.supply_u_v, Dimension::Voltage)),
        None if recorded => {
            format!("Supply {} as recorded.", format_pm(c.supply_v, 2.0 * c.supply_u_v, Dimension::Voltage))
        }
        None => format!(
            "Supply not given: rated {:.0} V ±10 %. Measure it and give --supply for narrower ranges.",
            c.supply_v
        ),
    };
    let meter = format!(
        "Meter ±{} ±{}.",
        format(c.meter.relative, Dimension::Ratio),
        format(c.meter.absolute_w, Dimension::Power)
    );
    let water = format!("{} of water in it at the start.", format(c.water_l, Dimension::Volume));
    out.push_str(&wrap("", "", &format!("{supply} {meter} {water}"), screen.columns));
    out
}

/// The evidence, each entry with how it was taken.
fn known(found: &Found<'_>, screen: &Screen) -> String {
    let mut out = "\nWhat is known\n".to_owned();
    for (at, entry) in found.evidence.entries.iter().enumerate() {
        let text = words::entry(found.machine, entry);
        out.push_str(&wrap(&format!("{:>3}  ", at + 1), "     ", &text, screen.columns));
    }
    if let Some(trace) = &found.evidence.trace {
        let span = trace.samples.last().zip(trace.samples.first()).map_or(0.0, |(b, a)| b.time_s - a.time_s);
        let text = format!(
            "{}: {} samples over {}",
            trace.name,
            trace.samples.len(),
            format(span.round(), Dimension::Time)
        );
        let text = std::iter::once(text).chain(found.remarks.iter().cloned()).collect::<Vec<_>>().join("; ");
        out.push_str(&wrap("  ~  ", "     ", &text, screen.columns));
    }
    out
}

/// Each step: what it should read, what it read, the verdict, and why where it is not as expected.
fn steps(found: &Found<'_>, screen: &Screen) -> String {
    let all = &found.finding.steps;
    if all.iter().all(|s| s.verdict == Verdict::NotDone) {
        return String::new();
    }
    let cells = |s: &StepVerdict| {
        let place = match (s.start_s, s.end_s) {
            (Some(start), Some(end)) => format!("{start:.0} … {end:.0} s"),
            _ => "–".to_owned(),
        };
        vec![
            format!("{} {}", s.step + 1, found.machine.test.steps[s.step].id),
            words::watts(s.expected_w),
            s.measured_w.map_or("–".to_owned(), words::watts),
            words::verdict(s.verdict).to_owned(),
            place,
        ]
    };
    let rows: Vec<Vec<String>> = all.iter().map(cells).collect();
    let columns = [("Step", 0), ("Should read", 0), ("Read", 0), ("Verdict", 0), ("In the recording", 1)];
    let columns = columns.map(|(title, leave_out)| Column { title, leave_out });
    let table = Table::fit(columns.into(), &rows, screen.columns);
    let mut out = format!("\n{}", table.head());
    for (step, row) in all.iter().zip(&rows) {
        out.push_str(&table.row(row));
        if !matches!(step.verdict, Verdict::AsExpected | Verdict::NotDone) {
            out.push_str(&wrap("    ", "    ", &step.why, screen.columns));
        }
    }
    out
}

/// Suspects, and healthy among them, likeliest first.
fn suspects(found: &Found<'_>, screen: &Screen) -> String {
    let finding = &found.finding;
    let mut all: Vec<(f64, String, String)> = finding
        .suspects
        .iter()
        .map(|s| (s.probability, words::suspect(found.machine, s), s.reason.clone()))
        .collect();
    let healthy = format!("{}; {ELSEWHERE}", finding.healthy_reason);
    let at = all.partition_point(|s| s.0 >= finding.healthy);
    all.insert(at, (finding.healthy, "nothing wrong with the machine".to_owned(), healthy));
    let mut out = "\nSuspects\n".to_owned();
    for (p, name, reason) in all {
        let (bar, figure) = (words::bar(p), words::per_cent(p));
        let word = words::likelihood(p, finding.left_out);
        let first = format!("  {bar}  {figure:>7}  {word:<11}  ");
        out.push_str(&wrap(&first, &" ".repeat(36), &name, screen.columns));
        if !reason.is_empty() {
            out.push_str(&wrap("              ", "              ", &reason, screen.columns));
        }
    }
    if finding.others > 0.0005 {
        let text = "together for all others, each too unlikely to list";
        out.push_str(&wrap(
            &format!("              {:>7}  ", words::per_cent(finding.others)),
            "  ",
            text,
            screen.columns,
        ));
    }
    if finding.left_out > 1e-4 {
        let text = format!(
            "Sets of faults that were not looked at: at most {} together; the figures above are shares of the others.",
            words::at_most(finding.left_out)
        );
        out.push_str(&wrap("  ", "  ", &text, screen.columns));
    }
    out
}
