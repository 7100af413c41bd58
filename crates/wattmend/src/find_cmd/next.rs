//! What to do next: the caution above the instruction, what it would read, why it comes first.

use super::Found;
use crate::render::Screen;
use crate::render::wrap::wrap;
use diagnosis::check::{Check, CheckKind, Power};
use diagnosis::finding::{Action, Next};
use machine::model::{Machine, PanelId};
use report::finding::words;

/// Most suspects that are named beside one reading.
const NAMED: usize = 3;
/// Widest reading that leaves room for the suspects beside it, columns; else they stand below.
const BESIDE: usize = 24;
/// Most readings that are listed.
const READINGS: usize = 8;

/// The advice; once one suspect is sure enough nothing more is asked.
pub(super) fn render(found: &Found<'_>, screen: &Screen) -> String {
    let finding = &found.finding;
    let mut out = String::from("\n");
    if let Some(sure) = &finding.sure {
        out.push_str(&wrap("SURE ENOUGH: ", "  ", &sure.says, screen.columns));
    }
    let Some(first) = finding.next.first() else {
        if finding.sure.is_none() {
            out.push_str("No check or repair known here would bring this further.\n");
        }
        return out;
    };
    out.push_str(if finding.sure.is_some() { "Do this\n" } else { "Next\n" });
    out.push_str(&action(found.machine, first, screen));
    if finding.sure.is_none() {
        out.push_str(&wrap("  why first: ", "    ", &first.why, screen.columns));
        if let Some(second) = finding.next.get(1) {
            let text =
                format!("{} ({} to the end if done first)", headline(second), words::minutes(second.upper));
            out.push_str(&wrap("  runner-up: ", "    ", &text, screen.columns));
        }
        if let Action::Check(check) = &first.action {
            let text = format!(
                "--answer \"{}\"=… with the same command, or in the evidence file; =\"could not\" passes it over",
                check.id
            );
            out.push_str(&wrap("  then: ", "    ", &text, screen.columns));
        }
    }
    if let Some((least, most)) = finding.minutes_left {
        let text = if most - least < 0.5 {
            format!("{}, parts counted as minutes of work", words::minutes(most))
        } else {
            format!(
                "{} at most; no plan can take less than {}; parts counted as minutes of work",
                words::minutes(most),
                words::minutes(least)
            )
        };
        out.push_str(&wrap("Expected to the end of the job: ", "  ", &text, screen.columns));
    }
    out
}

/// What it is, in a few words.
fn headline(next: &Next) -> &str {
    match &next.action {
        Action::Check(check) => check.says.trim_end_matches('.'),
        Action::Mend { says, .. } | Action::HandBack { says, .. } => says.trim_end_matches('.'),
    }
}

fn action(machine: &Machine, next: &Next, screen: &Screen) -> String {
    let mut out = String::new();
    let mut line = |first: &str, text: &str| out.push_str(&wrap(first, "    ", text, screen.columns));
    match &next.action {
        Action::Check(check) => {
            caution(&mut line, &check.caution);
            line("  ", &check.says);
            line("  with: ", &means(check));
            line("  takes: ", &takes(machine, check.minutes, &check.access));
        }
        Action::Mend { says, minutes, access, caution: danger, .. } => {
            caution(&mut line, danger);
            line("  ", says);
            line("  takes: ", &takes(machine, *minutes, access));
        }
        Action::HandBack { says, minutes, caution: danger } => {
            caution(&mut line, danger);
            line("  ", says);
            line("  takes: ", &words::minutes(*minutes));
        }
    }
    out.push_str(&reads(machine, next, screen));
    out
}

/// Above the instruction, never below.
fn caution(line: &mut impl FnMut(&str, &str), danger: &str) {
    if !danger.is_empty() {
        line("! CAUTION: ", danger);
    }
}

fn means(check: &Check) -> String {
    let supply = match check.power {
        _ if check.kind == CheckKind::Swap => "machine dead to fit it, then closed up and running",
        Power::Dead => "machine dead",
        Power::Closed => "machine closed up and running",
        Power::Live => "LIVE, for competent persons only",
    };
    format!("{}; {supply}", words::instrument(check.instrument))
}

fn takes(machine: &Machine, minutes: f64, access: &[PanelId]) -> String {
    let own = words::minutes(minutes);
    if access.is_empty() { own } else { format!("{own}, and off come: {}", words::panels(machine, access)) }
}

/// What it would read under each suspect, equal readings together, likeliest first.
fn reads(machine: &Machine, next: &Next, screen: &Screen) -> String {
    let mut groups: Vec<(&str, Vec<String>)> = Vec::new();
    for (case, reading) in &next.reads {
        let name = case.says(machine);
        match groups.iter_mut().find(|g| g.0 == reading) {
            Some(group) => group.1.push(name),
            None => groups.push((reading, vec![name])),
        }
    }
    if groups.is_empty() {
        return String::new();
    }
    let left_out = groups.len().saturating_sub(READINGS);
    let wide = groups.iter().take(READINGS).map(|g| g.0.chars().count()).max().unwrap_or(0);
    let mut out = "  it would read:\n".to_owned();
    for (reading, names) in groups.iter().take(READINGS) {
        let mut who = names.iter().take(NAMED).cloned().collect::<Vec<_>>().join("; ");
        if names.len() > NAMED {
            who.push_str(&format!("; {} more", names.len() - NAMED));
        }
        if wide <= BESIDE {
            let first = format!("    {reading:<wide$}  ");
            out.push_str(&wrap(&first, &" ".repeat(wide + 6), &who, screen.columns));
        } else {
            out.push_str(&wrap("    ", "      ", &format!("{reading}:"), screen.columns));
            out.push_str(&wrap("        ", "        ", &who, screen.columns));
        }
    }
    if left_out > 0 {
        out.push_str(&format!("    and {left_out} readings more, of less likely suspects\n"));
    }
    out
}
