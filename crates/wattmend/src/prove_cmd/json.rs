//! The same for a program; `docs/json.md` describes the keys.

use super::Proved;
use machine::model::Class;
use quantity::Dimension;
use quantity::conformity::Verdict;
use report::figures::{estimate, rounded};
use safety::retest::{Retest, Retested};
use safety::{
    Calibrated, Conclusion, Instruction, Item, Judged, Keep, Limit, Next, Shown, Skipped, State, Test, WhyNot,
};
use serde_json::{Value, json};

/// The whole answer.
pub(super) fn render(proved: &Proved<'_>) -> Value {
    let (plate, subject, report) = (&proved.machine.plate, &proved.subject, &proved.report);
    let conclusion = match report.conclusion {
        Conclusion::FitToHandBack => "fit to hand back",
        Conclusion::NotFit => "not fit",
        Conclusion::NotShown => "not shown",
    };
    json!({
        "format": 1,
        "machine": { "kind": plate.kind, "maker": plate.maker, "model": plate.model, "variant": proved.variant },
        "standard": {
            "key": report.standard.key, "name": report.standard.name, "edition": report.standard.edition,
            "who": report.standard.who,
        },
        "subject": {
            "class": match subject.class() { Class::I => "I", Class::II => "II", Class::III => "III" },
            "lead_m": subject.lead_m(),
            "core_mm2": subject.core_mm2(),
            "heating_w": subject.heating_w(),
            "heating_assumed": proved.heating_assumed,
            "unearthed_metal": subject.unearthed_metal,
            "rewired": subject.rewired,
            "test_voltage_v": subject.test_voltage_v(),
        },
        "tester": { "name": proved.tester, "calibration": calibration(report.calibrated) },
        "on": proved.on.to_string(),
        "tests": report.items.iter().map(item).collect::<Vec<_>>(),
        "not_needed": report.skipped.iter().filter_map(not_needed).collect::<Vec<_>>(),
        "not_judged": report.not_judged().map(Test::key).collect::<Vec<_>>(),
        "retest": report.retest.iter().map(retest).collect::<Vec<_>>(),
        "next": report.next().map(|next| match next {
            Next::Test(item) => json!({ "test": item.test.key() }),
            Next::Step(step) => json!({ "step": step.step }),
        }),
        "conclusion": conclusion,
        "says": report.says,
        "remarks": report.remarks,
        "defer": safety::DEFER,
    })
}

fn not_needed(skipped: &Skipped) -> Option<Value> {
    match skipped.why {
        WhyNot::DoesNotApply(why) => Some(json!({ "test": skipped.test.key(), "why": why })),
        WhyNot::NoLimitKnown => None,
    }
}

fn calibration(calibrated: Calibrated) -> Value {
    let (state, day) = match calibrated {
        Calibrated::Until(day) => ("holds", Some(day)),
        Calibrated::RanOut(day) => ("ran out", Some(day)),
        Calibrated::Impossible => ("impossible", None),
        Calibrated::NotStated => ("not given", None),
    };
    json!({ "state": state, "until": day.map(|d| d.to_string()) })
}

fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Pass => "pass",
        Verdict::Unsure => "unsure",
        Verdict::Fail => "fail",
    }
}

fn instruction(i: &Instruction) -> Value {
    json!({ "caution": i.caution, "says": i.says })
}

/// A key that ends in the unit of what the test measures.
fn unit(item: &Item) -> &'static str {
    match item.test.measures() {
        Some(Dimension::Current) => "a",
        _ => "ohm",
    }
}

fn item(item: &Item) -> Value {
    let keys = |tests: &[Test]| tests.iter().map(|t| t.key()).collect::<Vec<_>>();
    let (state, judged, by) = match &item.state {
        State::Done { verdict: v, judged } => (verdict(*v), judged.as_slice(), Vec::new()),
        State::Open => ("to do", &[][..], Vec::new()),
        State::Blocked { by, .. } => ("blocked", &[][..], keys(by)),
    };
    json!({
        "test": item.test.key(),
        "name": item.test.name(),
        "state": state,
        "blocked_by": by,
        "instruction": instruction(&item.instruction),
        "limit": item.limit.as_ref().map(|l| limit(l, unit(item))),
        "readings": judged.iter().map(|j| reading(j, unit(item))).collect::<Vec<_>>(),
        "meaning": item.meaning.as_ref().map(|m| json!({ "says": m.says, "caution": m.caution, "look_for": m.look_for })),
    })
}

fn limit(l: &Limit, unit: &str) -> Value {
    let mut value = json!({
        "keep": match l.keep { Keep::AtMost => "at most", Keep::AtLeast => "at least" },
        "says": l.says,
        "clause": l.clause,
        "source": l.source,
        "from_memory": l.from_memory,
    });
    value[format!("value_{unit}")] = json!(rounded(l.value));
    value
}

fn reading(j: &Judged, unit: &str) -> Value {
    let (shown, number) = match j.reading.shown {
        Shown::Value(v) => ("value", Some(v.value)),
        Shown::Above(v) => ("above", Some(v)),
        Shown::Below(v) => ("below", Some(v)),
        Shown::OverRange => ("over range", None),
        Shown::Good(true) => ("good", None),
        Shown::Good(false) => ("not good", None),
    };
    let mut value = json!({
        "said": j.reading.said,
        "shown": shown,
        "verdict": verdict(j.verdict),
        "why": j.why,
        "probability": j.probability.map(rounded),
    });
    value[format!("value_{unit}")] = json!(number.map(rounded));
    value[format!("expanded_u_{unit}")] = json!(rounded(j.expanded_u));
    value[format!("accepted_{unit}")] = json!(j.accepted.map(rounded));
    value
}

fn retest(r: &Retest) -> Value {
    let (state, measured, zeta, why, by) = match &r.state {
        Retested::Done { measured_w, zeta, verdict: v, why } => {
            (verdict(*v), *measured_w, *zeta, Some(why), Vec::new())
        }
        Retested::Open => ("to do", None, None, None, Vec::new()),
        Retested::Blocked(by) => ("blocked", None, None, None, by.iter().map(|t| t.key()).collect()),
    };
    let faults: Vec<Value> =
        r.would_show.iter().map(|(fault, w)| json!({ "fault": fault, "power_w": rounded(*w) })).collect();
    json!({
        "step": r.step,
        "state": state,
        "blocked_by": by,
        "instruction": instruction(&r.instruction),
        "expected": { "power_w": estimate(r.expected_w) },
        "watts_tell": r.watts_tell,
        "measured_w": measured.map(rounded),
        "zeta": zeta.map(rounded),
        "why": why,
        "with_fault": faults,
    })
}
