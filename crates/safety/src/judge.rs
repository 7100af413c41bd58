//! Readings against limits, in the order that protects, and the conclusion.

use crate::advice::meaning;
use crate::limits::{Keep, Limit};
use crate::plan::{Planned, Skipped, TestPlan, not_judged};
use crate::reading::{Reading, Shown};
use crate::report::{Conclusion, Item, Judged, Report, State};
use crate::retest::{Retest, Retested, StepReading, Touched};
use crate::test::Test;
use crate::tester::{Calibrated, Tester};
use jiff::civil::Date;
use quantity::Decoded;
use quantity::conformity::{DecisionRule, Limits, Verdict};

/// Highest supply that is reckoned with when insulation is worth a current, V (230 V + 10 %, EN 50160).
const HIGHEST_SUPPLY_V: f64 = 253.0;

/// Judges all readings. `today` is the day of the test, against which the calibration is held. A test may have several
/// readings: the worst counts.
pub fn judge(
    plan: &TestPlan,
    readings: &[Reading],
    tester: &Tester,
    today: Date,
    touched: &[Touched],
    steps: &[StepReading],
) -> Report {
    let calibrated = tester.calibrated(today);
    let mut items: Vec<Item> = Vec::new();
    for planned in &plan.planned {
        let of_test: Vec<&Reading> = readings.iter().filter(|r| r.test == planned.test).collect();
        let by = missing(planned.test.needs(), plan, &items);
        let state = if !by.is_empty() {
            State::Blocked { by, not_counted: of_test.into_iter().cloned().collect() }
        } else if of_test.is_empty() {
            State::Open
        } else {
            let judged: Vec<Judged> =
                of_test.into_iter().map(|r| one(r, planned, plan, tester, calibrated)).collect();
            State::Done { verdict: worst(judged.iter().map(|j| j.verdict)), judged }
        };
        items.push(Item {
            test: planned.test,
            instruction: planned.instruction.clone(),
            limit: planned.limit.clone(),
            state,
            meaning: None,
        });
    }
    let waited = let_current_decide(&mut items);
    for item in &mut items {
        item.meaning = item.verdict().filter(|v| *v != Verdict::Pass).map(|_| meaning(item.test));
    }
    // The machine's own test runs it as a customer would: it needs all that the functional test does.
    let by = missing(Test::Functional.needs(), plan, &items);
    let retest: Vec<Retest> = touched.iter().map(|t| t.held_against(steps, &by)).collect();
    let (conclusion, says) = conclude(&items, &retest, &plan.skipped);
    let remarks = remarks(plan, readings, &items, tester, calibrated, waited);
    Report {
        standard: plan.standard,
        items,
        skipped: plan.skipped.clone(),
        retest,
        calibrated,
        conclusion,
        says,
        remarks,
    }
}

/// Those of the needed tests that apply and have not passed. Insulation that a protective conductor current is to decide
/// does not stand in that current's way.
fn missing(needs: &[Test], plan: &TestPlan, items: &[Item]) -> Vec<Test> {
    let met = |test: Test| {
        plan.get(test).is_none()
            || items.iter().any(|i| i.test == test && (i.passed() || waits_for_current(i)))
    };
    needs.iter().copied().filter(|&t| !met(t)).collect()
}

fn waits_for_current(item: &Item) -> bool {
    let State::Done { verdict: Verdict::Unsure, judged } = &item.state else { return false };
    item.limit.as_ref().is_some_and(|l| {
        l.current_decides && judged.iter().all(|j| j.verdict == Verdict::Pass || below(j, l))
    })
}

fn below(judged: &Judged, limit: &Limit) -> bool {
    matches!(judged.reading.shown, Shown::Value(v) if v.value < limit.value)
}

/// Insulation below its limit that waited for the current: passes with it, is unsure without. True where it passed so.
fn let_current_decide(items: &mut [Item]) -> bool {
    let passed = items.iter().any(|i| i.test == Test::ProtectiveConductorCurrent && i.passed());
    let Some(item) = items.iter_mut().find(|i| waits_for_current(i)) else { return false };
    let (State::Done { verdict, judged }, true) = (&mut item.state, passed) else { return false };
    *verdict = Verdict::Pass;
    for j in judged.iter_mut().filter(|j| j.verdict != Verdict::Pass) {
        j.verdict = Verdict::Pass;
        j.why.push_str("; it was kept, so this passes");
    }
    true
}

fn worst(verdicts: impl Iterator<Item = Verdict>) -> Verdict {
    verdicts.fold(Verdict::Pass, |a, b| match (a, b) {
        (Verdict::Fail, _) | (_, Verdict::Fail) => Verdict::Fail,
        (Verdict::Unsure, _) | (_, Verdict::Unsure) => Verdict::Unsure,
        _ => Verdict::Pass,
    })
}

fn one(
    reading: &Reading,
    planned: &Planned,
    plan: &TestPlan,
    tester: &Tester,
    calibrated: Calibrated,
) -> Judged {
    let Some(limit) = &planned.limit else {
        let verdict = if reading.shown == Shown::Good(true) { Verdict::Pass } else { Verdict::Fail };
        let why = if verdict == Verdict::Pass { "found good" } else { "found not good" };
        return Judged {
            reading: reading.clone(),
            expanded_u: 0.0,
            accepted: None,
            probability: None,
            verdict,
            why: why.to_owned(),
        };
    };
    let mut judged = measured(reading, limit, tester);
    if judged.verdict == Verdict::Fail && limit.current_decides && could_keep_current(reading, plan) {
        judged.verdict = Verdict::Unsure;
        judged.why.push_str("; below this limit the protective conductor current decides");
    }
    if judged.verdict == Verdict::Pass {
        match calibrated {
            Calibrated::RanOut(day) => {
                judged.verdict = Verdict::Unsure;
                judged.why.push_str(&format!("; but the tester's calibration ran out on {day}"));
            }
            Calibrated::Impossible => {
                judged.verdict = Verdict::Unsure;
                judged.why.push_str("; but the tester's calibration dates cannot be right");
            }
            Calibrated::Until(_) | Calibrated::NotStated => {}
        }
    }
    judged
}

/// This insulation alone would not already pass more than the limit of the protective conductor current.
fn could_keep_current(reading: &Reading, plan: &TestPlan) -> bool {
    let limit = plan.get(Test::ProtectiveConductorCurrent).and_then(|p| p.limit.as_ref());
    match (reading.shown, limit) {
        (Shown::Value(v), Some(limit)) => v.value > 0.0 && HIGHEST_SUPPLY_V / v.value <= limit.value,
        _ => false,
    }
}

/// A reading against a limit: guard band as wide as the expanded uncertainty (ILAC-G8:09/2019, 4.2.2).
fn measured(reading: &Reading, limit: &Limit, tester: &Tester) -> Judged {
    let written = |value| limit.test.written(value);
    let (limits, sign) = match limit.keep {
        Keep::AtMost => (Limits::at_most(limit.value), "at most"),
        Keep::AtLeast => (Limits::at_least(limit.value), "at least"),
    };
    let expanded_u = tester.expanded_uncertainty(limit.test, reading.shown);
    let accepted = Some(acceptance_limit(reading.shown, limit, tester));
    let rule = DecisionRule::GuardBand;
    let by_bound = |bound: f64, good_side: bool| {
        let verdict = limits.verdict(bound, expanded_u, rule);
        match (good_side, verdict) {
            // Further on than the bound: at least as good as a reading there, or at least as bad.
            (true, Verdict::Pass) => Verdict::Pass,
            (false, Verdict::Fail) => Verdict::Fail,
            _ => Verdict::Unsure,
        }
    };
    let at_least = limit.keep == Keep::AtLeast;
    let u = expanded_u / 2.0;
    let (verdict, probability) = match reading.shown {
        Shown::Value(v) => (limits.verdict(v.value, expanded_u, rule), Some(limits.probability(v.value, u))),
        Shown::Above(v) => (by_bound(v, at_least), at_least.then(|| limits.probability(v, u))),
        Shown::Below(v) => (by_bound(v, !at_least), (!at_least).then(|| limits.probability(v, u))),
        Shown::OverRange if at_least => (Verdict::Pass, Some(1.0)),
        Shown::OverRange => (Verdict::Fail, Some(0.0)),
        Shown::Good(_) => (Verdict::Unsure, None),
    };
    let limit_words = format!("{sign} {}", written(limit.value));
    let shown = match reading.shown {
        Shown::Value(v) => format!("{} ± {}", written(v.value), written(expanded_u)),
        Shown::Above(v) => format!("more than {}", written(v)),
        Shown::Below(v) => format!("less than {}", written(v)),
        Shown::OverRange => "over range".to_owned(),
        Shown::Good(_) => "no reading".to_owned(),
    };
    let why = match verdict {
        Verdict::Pass => format!("{shown} against {limit_words}"),
        Verdict::Fail => format!("{shown} against {limit_words}: beyond it"),
        Verdict::Unsure => format!(
            "{shown} against {limit_words}: within the tester's uncertainty of the limit; clean the contacts, repeat, or use a \
             better instrument"
        ),
    };
    Judged { reading: reading.clone(), expanded_u, accepted, probability, verdict, why }
}

/// The worst reading that still passes: the limit drawn in by the uncertainty of a reading there, which itself grows with the
/// reading; with the last digit of the one that was taken.
fn acceptance_limit(shown: Shown, limit: &Limit, tester: &Tester) -> f64 {
    let resolution = if let Shown::Value(v) = shown { v.resolution } else { 0.0 };
    let u_at =
        |value: f64| tester.expanded_uncertainty(limit.test, Shown::Value(Decoded { value, resolution }));
    // A = T - U(A), or T + U(A): each round gains digits, since no tester is off by as much as it reads.
    (0..60).fold(limit.value, |a, _| match limit.keep {
        Keep::AtMost => limit.value - u_at(a.max(0.0)),
        Keep::AtLeast => limit.value + u_at(a),
    })
}

fn conclude(items: &[Item], retest: &[Retest], skipped: &[Skipped]) -> (Conclusion, String) {
    let named = |wanted: &dyn Fn(&Item) -> bool| -> Vec<String> {
        items.iter().filter(|i| wanted(i)).map(|i| i.test.name().to_owned()).collect()
    };
    let steps = |wanted: &dyn Fn(&Retest) -> bool| -> Vec<String> {
        retest.iter().filter(|r| wanted(r)).map(|r| format!("step {}", r.step)).collect()
    };
    let is = |verdict| move |i: &Item| i.verdict() == Some(verdict);
    let step_is =
        |verdict| move |r: &Retest| matches!(r.state, Retested::Done { verdict: v, .. } if v == verdict);
    let failed = [named(&is(Verdict::Fail)), steps(&step_is(Verdict::Fail))].concat();
    if !failed.is_empty() {
        let says = format!("Not fit to hand back: failed: {}. Unplug and label it.", failed.join(", "));
        return (Conclusion::NotFit, says);
    }
    let unsure = [named(&is(Verdict::Unsure)), steps(&step_is(Verdict::Unsure))].concat();
    let open =
        [named(&|i| i.verdict().is_none()), steps(&|r| !matches!(r.state, Retested::Done { .. }))].concat();
    let not_judged: Vec<&str> = not_judged(skipped).map(Test::name).collect();
    if unsure.is_empty() && open.is_empty() && not_judged.is_empty() {
        let says = "Fit to hand back: every test that applies has passed.".to_owned();
        return (Conclusion::FitToHandBack, says);
    }
    let mut parts = Vec::new();
    if !unsure.is_empty() {
        parts.push(format!("unsure: {}", unsure.join(", ")));
    }
    if !open.is_empty() {
        parts.push(format!("still to do: {}", open.join(", ")));
    }
    if !not_judged.is_empty() {
        parts.push(format!("not judged here: {}", not_judged.join(", ")));
    }
    (Conclusion::NotShown, format!("Not yet shown fit to hand back: {}.", parts.join("; ")))
}

fn remarks(
    plan: &TestPlan,
    readings: &[Reading],
    items: &[Item],
    tester: &Tester,
    calibrated: Calibrated,
    current_decided: bool,
) -> Vec<String> {
    let mut all = Vec::new();
    if !plan.standard.after_repair {
        all.push(format!(
            "{} is not for use after a repair; it stands here to compare with.",
            plan.standard.name
        ));
    }
    let from_memory: Vec<&str> = items
        .iter()
        .filter(|i| i.limit.as_ref().is_some_and(|l| l.from_memory))
        .map(|i| i.test.name())
        .collect();
    if !from_memory.is_empty() {
        all.push(format!(
            "These limits are from memory; look them up before you rely on them: {}.",
            from_memory.join(", ")
        ));
    }
    let not_judged: Vec<&str> = not_judged(&plan.skipped).map(Test::name).collect();
    if !not_judged.is_empty() {
        all.push(format!(
            "No limit of {} is known here for: {}. Look it up in the standard, and judge it by that.",
            plan.standard.name,
            not_judged.join(", ")
        ));
    }
    for item in items {
        if let State::Blocked { by, not_counted } = &item.state
            && !not_counted.is_empty()
        {
            let by: Vec<&str> = by.iter().map(|t| t.name()).collect();
            all.push(format!(
                "The reading of the {} is not counted: {} must have passed before it is taken.",
                item.test.name(),
                by.join(" and ")
            ));
        }
    }
    for reading in readings.iter().filter(|r| plan.get(r.test).is_none()) {
        let known = !crate::plan::not_judged(&plan.skipped).any(|test| test == reading.test);
        let why = if known { "does not apply here" } else { "has no limit that is known here" };
        all.push(format!("`{}` is not counted: the {} {why}.", reading.said, reading.test.name()));
    }
    let unstated: Vec<&str> = items
        .iter()
        .filter(
            |i| matches!(&i.state, State::Done { judged, .. } if judged.iter().any(|j| j.expanded_u > 0.0)),
        )
        .filter(|i| !tester.accuracy.contains_key(&i.test))
        .map(|i| i.test.name())
        .collect();
    if !unstated.is_empty() {
        all.push(format!(
            "The tester's limits of error were not given: 30 % of the reading is taken for {}.",
            unstated.join(", ")
        ));
    }
    let measured = items.iter().any(
        |i| matches!(&i.state, State::Done { judged, .. } if judged.iter().any(|j| j.accepted.is_some())),
    );
    match calibrated {
        Calibrated::NotStated if measured => {
            all.push("The tester's calibration date was not given.".to_owned());
        }
        Calibrated::RanOut(day) => {
            all.push(format!("The tester's calibration ran out on {day}: no reading of it can pass."));
        }
        Calibrated::Impossible => all.push(
            "The tester's calibration lies after this test, or is due before it was done: check the dates."
                .to_owned(),
        ),
        Calibrated::NotStated | Calibrated::Until(_) => {}
    }
    if current_decided {
        all.push(
            "The insulation resistance is below its limit and passes by the protective conductor current alone.".to_owned(),
        );
    }
    let over_range = items.iter().any(|i| {
        matches!(&i.state, State::Done { judged, .. } if i.test == Test::Insulation
            && judged.iter().any(|j| matches!(j.reading.shown, Shown::OverRange | Shown::Above(_))))
    });
    if over_range {
        all.push(
            "An insulation reading over range looks the same with a lead off: join the leads' tips once, held by their insulation, \
             nobody touching metal, since the tester puts up to 500 V on them; it must read 0."
                .to_owned(),
        );
    }
    all
}
