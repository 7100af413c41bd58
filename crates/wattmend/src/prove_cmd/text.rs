//! The test after the repair, for a person at the machine.

use super::Proved;
use crate::render::Screen;
use crate::render::wrap::wrap;
use machine::model::Class;
use quantity::conformity::Verdict;
use quantity::{Dimension, format, format_pm};
use report::finding::words;
use safety::retest::{Retest, Retested};
use safety::{Calibrated, Conclusion, Item, Judged, Keep, Limit, Next, Report, State, Test, WhyNot};

/// Most faults that are named beside a step of the re-test.
const NAMED: usize = 3;

/// The whole answer.
pub(super) fn render(proved: &Proved<'_>, screen: &Screen) -> String {
    let report = &proved.report;
    let mut out = head(proved, screen);
    out.push_str("\nSafety tests, in this order\n");
    for (at, item) in report.items.iter().enumerate() {
        out.push_str(&test(at + 1, item, screen));
    }
    out.push_str(&left_out(report, screen));
    if !report.retest.is_empty() {
        out.push_str("\nThe machine's own test, steps that the repair touches\n");
        for step in &report.retest {
            out.push_str(&retest(step, screen));
        }
    }
    out.push_str(&next(proved, screen));
    let mark = match report.conclusion {
        Conclusion::FitToHandBack => "\nPASS. ",
        Conclusion::NotFit => "\nFAIL. ",
        Conclusion::NotShown => "\nOPEN. ",
    };
    out.push_str(&wrap(mark, "  ", &report.says, screen.columns));
    for remark in &report.remarks {
        out.push_str(&wrap("  note: ", "    ", remark, screen.columns));
    }
    out.push('\n');
    out.push_str(&wrap("", "", &format!("{} {}", report.standard.who, safety::DEFER), screen.columns));
    out
}

/// Tests that are not done, told apart: those that do not apply, and those of which nothing is known here.
fn left_out(report: &Report, screen: &Screen) -> String {
    let mut out = String::new();
    let not_needed: Vec<String> = report
        .skipped
        .iter()
        .filter_map(|s| match s.why {
            WhyNot::DoesNotApply(why) => Some(format!("{} ({why})", s.test.name())),
            WhyNot::NoLimitKnown => None,
        })
        .collect();
    if !not_needed.is_empty() {
        out.push_str(&wrap("  not needed: ", "    ", &not_needed.join("; "), screen.columns));
    }
    let not_judged: Vec<&str> = report.not_judged().map(Test::name).collect();
    if !not_judged.is_empty() {
        let text = format!("{} (no limit is known here)", not_judged.join("; "));
        out.push_str(&wrap("  NOT JUDGED: ", "    ", &text, screen.columns));
    }
    out
}

fn head(proved: &Proved<'_>, screen: &Screen) -> String {
    let (plate, subject) = (&proved.machine.plate, &proved.subject);
    let variant =
        proved.variant.filter(|v| *v != plate.model).map_or(String::new(), |v| format!(", variant {v}"));
    let name = format!("{} {}, {}{variant}", plate.maker, plate.model, plate.kind);
    let mut out = wrap("", "  ", &name, screen.columns);
    let class = match subject.class() {
        Class::I => "Class I (earthed)",
        Class::II => "Class II (double insulation)",
        Class::III => "Class III (extra-low voltage)",
    };
    let assumed = if proved.heating_assumed { " (of the heaters in the machine file)" } else { "" };
    let about = format!(
        "{class}. Lead {} of {} mm². Heating {}{assumed}.",
        format(subject.lead_m(), Dimension::Length),
        subject.core_mm2(),
        format(subject.heating_w(), Dimension::Power)
    );
    out.push_str(&wrap("", "  ", &about, screen.columns));
    let standard = proved.report.standard;
    out.push_str(&wrap(
        "",
        "  ",
        &format!("Limits: {}, {}.", standard.name, standard.edition),
        screen.columns,
    ));
    let calibrated = match proved.report.calibrated {
        Calibrated::Until(day) => format!("calibration holds until {day}"),
        Calibrated::RanOut(day) => format!("CALIBRATION RAN OUT on {day}"),
        Calibrated::Impossible => "CALIBRATION DATES CANNOT BE RIGHT".to_owned(),
        Calibrated::NotStated => "calibration not given".to_owned(),
    };
    let tester = if proved.tester.is_empty() { "Tester not named" } else { &proved.tester };
    out.push_str(&wrap(
        "",
        "  ",
        &format!("{tester}, {calibrated}. Tested on {}.", proved.on),
        screen.columns,
    ));
    out
}

/// A verdict, the bad ones in capitals as in the rest of the program.
fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Pass => "pass",
        Verdict::Unsure => "UNSURE",
        Verdict::Fail => "FAIL",
    }
}

fn test(number: usize, item: &Item, screen: &Screen) -> String {
    let state = match &item.state {
        State::Done { verdict: v, .. } => verdict(*v).to_owned(),
        State::Open => "to do".to_owned(),
        State::Blocked { by, .. } => {
            let by: Vec<&str> = by.iter().map(|t| t.name()).collect();
            format!("not yet: {} must have passed", by.join(", "))
        }
    };
    let mut out =
        wrap(&format!("  {number} "), "    ", &format!("{}: {state}", item.test.name()), screen.columns);
    let mut line = |first: &str, text: &str| out.push_str(&wrap(first, "      ", text, screen.columns));
    if let State::Done { judged, .. } = &item.state {
        for j in judged {
            line("    ", &numbers(j, item.limit.as_ref()));
        }
    }
    if let Some(limit) = &item.limit {
        line("    limit: ", &limit_words(limit));
    }
    if let Some(meaning) = &item.meaning {
        line("    means: ", meaning.says);
        line("    ! CAUTION: ", &meaning.caution);
        line("    look for: ", &meaning.look_for.join("; "));
    }
    out
}

/// The comparison, where it passes from, and how sure that is.
fn numbers(j: &Judged, limit: Option<&Limit>) -> String {
    let mut text = j.why.clone();
    if let (Some(accepted), Some(limit), Some(p)) = (j.accepted, limit, j.probability) {
        let side = match limit.keep {
            Keep::AtMost => "up to",
            Keep::AtLeast => "from",
        };
        let edge = if accepted <= 0.0 {
            "nothing passes with this uncertainty".to_owned()
        } else {
            format!("passes {side} {}", limit.test.written(accepted))
        };
        text.push_str(&format!(" ({edge}; keeps to the limit: {})", words::per_cent(p)));
    }
    text
}

fn limit_words(limit: &Limit) -> String {
    let keep = match limit.keep {
        Keep::AtMost => "at most",
        Keep::AtLeast => "at least",
    };
    let memory = if limit.from_memory { " FROM MEMORY: look it up." } else { "" };
    format!(
        "{keep} {} ({}); {}, {}.{memory}",
        limit.test.written(limit.value),
        limit.says,
        limit.clause,
        limit.source
    )
}

fn retest(step: &Retest, screen: &Screen) -> String {
    let should = format_pm(step.expected_w.value, 2.0 * step.expected_w.u, Dimension::Power);
    let state = match &step.state {
        Retested::Done { verdict: v, why, .. } => format!("{}: {why}", verdict(*v)),
        Retested::Open if step.watts_tell => format!("to do, should read {should}"),
        Retested::Open => "to do: watch it, answer pass or fail".to_owned(),
        Retested::Blocked(by) => {
            let by: Vec<&str> = by.iter().map(|t| t.name()).collect();
            format!("not yet: {} must have passed", by.join(", "))
        }
    };
    let mut out = wrap("  ", "    ", &format!("step {}: {state}", step.step), screen.columns);
    let mut faults: Vec<String> = step
        .would_show
        .iter()
        .take(NAMED)
        .map(|(fault, w)| format!("{fault} {}", format(w.round(), Dimension::Power)))
        .collect();
    if step.would_show.len() > NAMED {
        faults.push(format!("{} more", step.would_show.len() - NAMED));
    }
    out.push_str(&wrap("    with the fault still in: ", "      ", &faults.join("; "), screen.columns));
    out
}

/// The next thing to do, its caution above it: nothing while something failed and only running is left.
fn next(proved: &Proved<'_>, screen: &Screen) -> String {
    let (instruction, answer) = match proved.report.next() {
        Some(Next::Test(item)) => (&item.instruction, answer(item)),
        Some(Next::Step(step)) => (&step.instruction, format!("step {}: …", step.step)),
        None => return String::new(),
    };
    let mut out = "\nNext\n".to_owned();
    out.push_str(&wrap("! CAUTION: ", "    ", &instruction.caution, screen.columns));
    out.push_str(&wrap("  ", "    ", &instruction.says, screen.columns));
    let text = format!("--reading \"{answer}\" with the same command, or a line in the file of --readings");
    out.push_str(&wrap("  then: ", "    ", &text, screen.columns));
    out
}

fn answer(item: &Item) -> String {
    let value = if item.test.measures().is_some() { "…" } else { "pass|fail" };
    format!("{} = {value}", item.test.name())
}
