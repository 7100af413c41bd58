//! The order that protects, calibration, the conclusion, the machine's own re-test; and the texts.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use bench::Conditions;
use jiff::civil::{Date, date};
use machine::model::{Class, Machine};
use proptest::prelude::*;
use quantity::Decoded;
use quantity::conformity::Verdict;
use safety::retest::{Retested, StepReading, StepShown, Touched, touched};
use safety::{
    Calibration, Conclusion, Next, Reading, Report, State, Subject, Test, Tester, Typed, judge, parse_typed,
    plan, standard, standards,
};

use std::sync::LazyLock;

const TODAY: Date = date(2026, 11, 27);

fn readings(lines: &[&str]) -> Vec<Reading> {
    lines
        .iter()
        .map(|line| match parse_typed(line).unwrap() {
            Typed::Test(reading) => reading,
            Typed::Step(_) => panic!("{line}"),
        })
        .collect()
}

/// The appliance with something changed.
fn with(mut subject: Subject, change: impl FnOnce(&mut Subject)) -> Subject {
    change(&mut subject);
    subject
}

fn subject() -> Subject {
    Subject::new(Class::I, 1.5, 1.5, 2000.0).unwrap()
}

fn tester() -> Tester {
    let calibration = Some(Calibration { on: date(2026, 3, 1), due: None });
    Tester { name: "bench tester".to_owned(), calibration, ..Tester::default() }
}

fn report(subject: &Subject, lines: &[&str]) -> Report {
    judge(&plan(subject, standard("en").unwrap()), &readings(lines), &tester(), TODAY, &[], &[])
}

fn state(report: &Report, test: Test) -> &State {
    &report.items.iter().find(|i| i.test == test).unwrap().state
}

fn blocked_by(report: &Report, test: Test) -> Vec<Test> {
    match state(report, test) {
        State::Blocked { by, .. } => by.clone(),
        _ => Vec::new(),
    }
}

fn next_test(report: &Report) -> Option<Test> {
    match report.next() {
        Some(Next::Test(item)) => Some(item.test),
        Some(Next::Step(_)) | None => None,
    }
}

const GOOD: [&str; 5] =
    ["visual = pass", "earth bond = 0R09", "insulation = >299M", "leakage = 0.4 mA", "functional = pass"];

#[test]
fn fit_only_when_all_that_applies_has_passed() {
    assert_eq!(report(&subject(), &GOOD).conclusion, Conclusion::FitToHandBack);
    for (left_out, line) in GOOD.iter().enumerate() {
        let mut lines = GOOD.to_vec();
        lines.remove(left_out);
        let report = report(&subject(), &lines);
        assert_eq!(report.conclusion, Conclusion::NotShown, "{line}");
        assert!(report.says.contains("still to do"));
    }
    let rewired = with(subject(), |s| {
        s.rewired = true;
    });
    let report_of = report(&rewired, &GOOD);
    assert_eq!(report_of.conclusion, Conclusion::NotShown);
    assert_eq!(blocked_by(&report_of, Test::Functional), [Test::Polarity, Test::ProtectiveConductorCurrent]);
    let mut lines = GOOD.to_vec();
    lines.push("polarity = pass");
    assert_eq!(report(&rewired, &lines).conclusion, Conclusion::FitToHandBack);
}

#[test]
fn nothing_is_put_under_voltage_on_a_doubtful_earth() {
    for earth in ["earth bond = 0R5", "earth bond = OL", "earth bond = 0R28"] {
        let report = report(
            &subject(),
            &["visual = pass", earth, "insulation = >299M", "leakage = 0.4 mA", "functional = pass"],
        );
        assert_eq!(blocked_by(&report, Test::Insulation), [Test::ProtectiveConductor], "{earth}");
        assert!(blocked_by(&report, Test::ProtectiveConductorCurrent).contains(&Test::ProtectiveConductor));
        assert!(blocked_by(&report, Test::Functional).contains(&Test::ProtectiveConductor));
        assert_ne!(report.conclusion, Conclusion::FitToHandBack);
        assert_eq!(report.remarks.iter().filter(|r| r.contains("is not counted")).count(), 3);
        let earth_item = report.items.iter().find(|i| i.test == Test::ProtectiveConductor).unwrap();
        assert!(!earth_item.meaning.as_ref().unwrap().look_for.is_empty());
    }
}

#[test]
fn nothing_is_energised_on_failed_insulation() {
    let report = report(
        &subject(),
        &["visual = pass", "earth bond = 0R09", "insulation = 0.4 MΩ", "leakage = 0.4 mA"],
    );
    assert_eq!(blocked_by(&report, Test::ProtectiveConductorCurrent), [Test::Insulation]);
    assert_eq!(report.conclusion, Conclusion::NotFit);
    assert!(report.says.contains("insulation resistance") && report.says.contains("Unplug"));
    assert!(report.next().is_none());
}

#[test]
fn a_bad_cord_stops_what_is_under_voltage() {
    let report = report(&subject(), &["visual = fail", "earth bond = 0R09", "insulation = >299M"]);
    assert_eq!(blocked_by(&report, Test::Insulation), [Test::Visual]);
    // The protective conductor is measured without danger.
    assert!(matches!(state(&report, Test::ProtectiveConductor), State::Done { verdict: Verdict::Pass, .. }));
}

/// Of a big heater below 0.3 MΩ the protective conductor current decides, but not where the insulation alone would already pass
/// more: 30 kΩ at 253 V are 8.4 mA, and 7.4 mA are allowed.
#[test]
fn the_current_may_decide_about_the_insulation_of_a_big_heater() {
    let big = Subject::new(Class::I, 1.5, 1.5, 7400.0).unwrap();
    let big_with = |insulation: &str, more: &[&str]| {
        report(&big, &[&["visual = pass", "earth bond = 0R09", insulation], more].concat())
    };
    let open = big_with("insulation = 0.2 MΩ", &[]);
    assert!(matches!(state(&open, Test::Insulation), State::Done { verdict: Verdict::Unsure, .. }));
    assert_eq!(next_test(&open), Some(Test::ProtectiveConductorCurrent));
    let passed = big_with("insulation = 0.2 MΩ", &["leakage = 2 mA", "functional = pass"]);
    assert!(matches!(state(&passed, Test::Insulation), State::Done { verdict: Verdict::Pass, .. }));
    assert!(passed.remarks.iter().any(|r| r.contains("current alone")));
    let failed = big_with("insulation = 0.2 MΩ", &["leakage = 9 mA", "functional = pass"]);
    assert_eq!(failed.conclusion, Conclusion::NotFit);
    assert!(matches!(state(&failed, Test::Insulation), State::Done { verdict: Verdict::Unsure, .. }));
    let short = big_with("insulation = 30 kΩ", &["leakage = 2 mA"]);
    assert!(matches!(state(&short, Test::Insulation), State::Done { verdict: Verdict::Fail, .. }));
    assert_eq!(blocked_by(&short, Test::ProtectiveConductorCurrent), [Test::Insulation]);
}

/// Not after a touch current either: the metal would be touched while more leaks than may.
#[test]
fn nothing_runs_on_after_it_leaked_too_much() {
    let unearthed = with(subject(), |s| s.unearthed_metal = true);
    let good = ["visual = pass", "earth bond = 0R09", "insulation = >299M"];
    for (more, by) in [
        (&["leakage = 9 mA"][..], &[Test::ProtectiveConductorCurrent][..]),
        (&["leakage = 3.4 mA"], &[Test::ProtectiveConductorCurrent]),
        (&["leakage = 0.4 mA", "touch = 5 mA"], &[Test::TouchCurrent]),
    ] {
        let report = retested(&unearthed, &[&good[..], more].concat(), &[]);
        let held = |by: &[Test]| by.iter().all(|t| blocked_by(&report, Test::Functional).contains(t));
        assert!(held(by), "{more:?}: {:?}", state(&report, Test::Functional));
        assert!(
            report.retest.iter().all(
                |r| matches!(&r.state, Retested::Blocked(found) if by.iter().all(|t| found.contains(t)))
            ),
            "{more:?}: {:?}",
            report.retest
        );
        assert!(report.next().is_none(), "{more:?}: {:?}", report.next());
        let touch_blocked = blocked_by(&report, Test::TouchCurrent);
        assert_eq!(touch_blocked.is_empty(), by == [Test::TouchCurrent], "{more:?}");
    }
    // Nor once its own test has shown that the fault is still in.
    let cold = StepReading {
        step: "heat".to_owned(),
        shown: StepShown::Watts(Decoded { value: 6.0, resolution: 1.0 }),
    };
    let report = retested(&subject(), &GOOD[..4], &[cold]);
    assert_eq!((report.conclusion, report.next()), (Conclusion::NotFit, None));
}

/// Insulation that waits for the current lets only that current be measured: nothing else runs before.
#[test]
fn doubtful_insulation_is_decided_before_the_machine_runs() {
    let big = Subject::new(Class::I, 1.5, 1.5, 7400.0).unwrap();
    let lines = ["visual = pass", "earth bond = 0R09", "insulation = 0.2 MΩ"];
    let open = retested(&big, &lines, &[]);
    assert_eq!(next_test(&open), Some(Test::ProtectiveConductorCurrent));
    assert!(open.retest.iter().all(
        |r| matches!(&r.state, Retested::Blocked(by) if by.contains(&Test::ProtectiveConductorCurrent))
    ));
    let decided = retested(&big, &[&lines[..], &["leakage = 2 mA"]].concat(), &[]);
    assert!(matches!(decided.next(), Some(Next::Step(step)) if step.step == "heat"), "{:?}", decided.next());
}

/// No row of limits here says what AS/NZS asks of the insulation of class III; nothing then calls it fit.
#[test]
fn a_test_without_a_known_limit_is_not_passed_over() {
    let third = Subject::new(Class::III, 1.5, 1.5, 0.0).unwrap();
    let by = |subject: &Subject, key: &str| {
        let lines = ["visual = pass", "insulation = >19M", "functional = pass"];
        judge(&plan(subject, standard(key).unwrap()), &readings(&lines), &tester(), TODAY, &[], &[])
    };
    let unknown = by(&third, "as-nzs");
    assert_eq!(unknown.not_judged().collect::<Vec<_>>(), [Test::Insulation]);
    assert_eq!(unknown.conclusion, Conclusion::NotShown);
    assert!(unknown.says.contains("not judged here: insulation resistance"), "{}", unknown.says);
    assert!(unknown.remarks.iter().any(|r| r.contains("is known here for: insulation resistance")));
    assert!(unknown.remarks.iter().any(|r| r.contains("has no limit that is known here")));
    assert_eq!(by(&third, "en").conclusion, Conclusion::FitToHandBack);
    // Without a switch that power closes the standard asks for no current: that is known.
    let by_hand = with(subject(), |s| s.powered_switching = false);
    assert_eq!(by(&by_hand, "as-nzs").not_judged().count(), 0);
}

#[test]
fn the_worst_reading_counts() {
    let report = report(&subject(), &["earth bond = 0R09", "earth bond = 0R35", "earth bond = 0R10"]);
    let State::Done { verdict, judged } = state(&report, Test::ProtectiveConductor) else { panic!() };
    assert_eq!((*verdict, judged.len()), (Verdict::Fail, 3));
}

#[test]
fn a_calibration_that_ran_out_proves_nothing() {
    let calibrated = |calibration| {
        let tester = Tester { calibration, ..tester() };
        judge(&plan(&subject(), standard("en").unwrap()), &readings(&GOOD), &tester, TODAY, &[], &[])
    };
    let ran_out = calibrated(Some(Calibration { on: date(2025, 3, 1), due: None }));
    assert_eq!(ran_out.conclusion, Conclusion::NotShown);
    assert!(ran_out.remarks.iter().any(|r| r.contains("ran out on 2026-03-01")));
    let later = calibrated(Some(Calibration { on: date(2027, 3, 1), due: None }));
    assert_eq!(later.conclusion, Conclusion::NotShown);
    let unknown = calibrated(None);
    assert_eq!(unknown.conclusion, Conclusion::FitToHandBack);
    assert!(unknown.remarks.iter().any(|r| r.contains("not given")));
    // A fail stays a fail.
    let tester = Tester { calibration: Some(Calibration { on: date(2025, 3, 1), due: None }), ..tester() };
    let bad = readings(&["earth bond = 0R5"]);
    let report = judge(&plan(&subject(), standard("en").unwrap()), &bad, &tester, TODAY, &[], &[]);
    assert_eq!(report.conclusion, Conclusion::NotFit);
}

#[test]
fn readings_of_tests_that_do_not_apply_are_pointed_out() {
    let second = Subject::new(Class::II, 1.5, 1.5, 0.0).unwrap();
    let report = report(
        &second,
        &["visual = pass", "earth bond = 0R1", "insulation = >19M", "touch = 0.02 mA", "functional = pass"],
    );
    assert_eq!(report.conclusion, Conclusion::FitToHandBack);
    assert!(report.remarks.iter().any(|r| r.contains("earth bond = 0R1") && r.contains("does not apply")));
}

/// What energises, and what applies a high voltage, says so in the same value; all of it, as it is read.
#[test]
fn every_instruction_under_voltage_has_its_caution() {
    let mut told = String::new();
    for (name, subject) in [
        (
            "class I, all that can apply",
            with(subject(), |s| {
                s.rewired = true;
                s.unearthed_metal = true;
            }),
        ),
        ("class II", Subject::new(Class::II, 1.5, 1.5, 0.0).unwrap()),
        ("class III", Subject::new(Class::III, 1.5, 1.5, 0.0).unwrap()),
        (
            "surge arresters",
            with(subject(), |s| {
                s.surge_arresters = true;
            }),
        ),
    ] {
        told.push_str(&format!("== {name}\n"));
        for p in plan(&subject, standard("en").unwrap()).planned {
            assert!(!p.instruction.caution.is_empty());
            if p.test.energises() {
                assert!(p.instruction.caution.contains("mains"), "{:?}", p.test);
            }
            if p.test.applies_high_voltage() {
                assert!(
                    p.instruction.caution.contains("V DC")
                        && p.instruction.caution.contains("Nobody touches")
                );
            }
            told.push_str(&format!(
                "{}\n  ! {}\n  {}\n",
                p.test.name(),
                p.instruction.caution,
                p.instruction.says
            ));
        }
    }
    told.push_str(&format!("== under all of it\n{}\n", safety::DEFER));
    for s in standards().iter().filter(|s| s.after_repair) {
        told.push_str(&format!("{}: {}\n", s.key, s.who));
    }
    insta::assert_snapshot!("instructions", told);
}

#[test]
fn a_report_is_told_in_full() {
    let lines = ["visual = pass", "earth bond = 0R28", "earth bond = 0R09", "insulation = >299M"];
    let report = report(&subject(), &lines);
    let mut told = String::new();
    for item in &report.items {
        told.push_str(&format!("{}\n", item.test.name()));
        match &item.state {
            State::Done { verdict, judged } => {
                told.push_str(&format!("  {verdict:?}\n"));
                for j in judged {
                    told.push_str(&format!("    {:?}: {}\n", j.verdict, j.why));
                }
            }
            State::Open => told.push_str("  open\n"),
            State::Blocked { by, .. } => told.push_str(&format!("  blocked by {by:?}\n")),
        }
        if let Some(m) = &item.meaning {
            told.push_str(&format!(
                "  means: {}\n  ! {}\n  look for: {}\n",
                m.says,
                m.caution,
                m.look_for.join("; ")
            ));
        }
    }
    told.push_str(&format!("{}\n{}\n", report.says, report.remarks.join("\n")));
    insta::assert_snapshot!("report", told);
}

fn small() -> Machine {
    let text =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../machine/tests/good/small.toml"))
            .unwrap();
    machine::read::read(&text, None).machine.unwrap()
}

fn heat_step(watts: f64, good_first: bool) -> (Vec<Touched>, Report) {
    let machine = small();
    let element = machine.part("element").unwrap();
    let touched = touched(&machine, &[element], &Conditions::at(230.0));
    let step = StepReading {
        step: touched[0].step.clone(),
        shown: StepShown::Watts(Decoded { value: watts, resolution: 1.0 }),
    };
    let lines: &[&str] = if good_first { &GOOD } else { &["visual = pass", "earth bond = 0R5"] };
    let report = judge(
        &plan(&subject(), standard("en").unwrap()),
        &readings(lines),
        &tester(),
        TODAY,
        &touched,
        &[step],
    );
    (touched, report)
}

/// With a new element in the small washer.
fn retested(subject: &Subject, lines: &[&str], steps: &[StepReading]) -> Report {
    let machine = small();
    let touched = touched(&machine, &[machine.part("element").unwrap()], &Conditions::at(230.0));
    assert!(!touched.is_empty());
    judge(&plan(subject, standard("en").unwrap()), &readings(lines), &tester(), TODAY, &touched, steps)
}

/// On the way to the step that heats the washer passes a half spin, whose drum runs on for 35 s while a valve opens.
#[test]
fn hazards_on_the_way_to_a_step_are_told() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../machines/aldermere-tern-81.toml");
    let machine = machine::read::read(&std::fs::read_to_string(path).unwrap(), None).machine.unwrap();
    let touched = touched(&machine, &[machine.part("element").unwrap()], &Conditions::at(230.0));
    let warm = touched.iter().find(|t| t.step == "warm").unwrap();
    for words in
        ["After half-spin: ", "Wait until: the drum stands", "keep the back panel on", "pull the plug"]
    {
        assert!(warm.instruction.caution.contains(words), "{words}: {}", warm.instruction.caution);
    }
}

/// A new element touches the step that heats, and no step that it takes no part in; the healthy machine draws 1856 W there
/// (stored text of `wattmend expect`), with the element open 6 W.
#[test]
fn the_repair_decides_what_is_run_again() {
    let (touched, report) = heat_step(1840.0, true);
    assert!(touched.iter().all(|t| t.step == "heat"), "{touched:?}");
    assert!((touched[0].expected_w.value - 1856.0).abs() < 1.0 && touched[0].watts_tell);
    assert!(touched[0].would_show.iter().any(|(fault, w)| fault.contains("open") && *w < 10.0));
    assert!(touched[0].instruction.caution.contains("Mains on the element's tabs"));
    assert!(matches!(&report.retest[0].state, Retested::Done { verdict: Verdict::Pass, .. }));
    assert_eq!(report.conclusion, Conclusion::FitToHandBack);
    let (_, cold) = heat_step(6.0, true);
    assert!(matches!(&cold.retest[0].state, Retested::Done { verdict: Verdict::Fail, .. }));
    assert_eq!(cold.conclusion, Conclusion::NotFit);
    let machine = small();
    assert!(touched_of_nothing(&machine).is_empty());
    assert_eq!(safety::retest::step(&machine, "heet").unwrap_err().remedy, "did you mean heat?");
}

fn touched_of_nothing(machine: &Machine) -> Vec<Touched> {
    touched(machine, &[], &Conditions::at(230.0))
}

#[test]
fn the_machine_is_not_run_before_it_is_safe() {
    let (_, report) = heat_step(1840.0, false);
    assert!(
        matches!(&report.retest[0].state, Retested::Blocked(by) if by.contains(&Test::ProtectiveConductor))
    );
    assert_eq!(report.conclusion, Conclusion::NotFit);
}

/// The step that heats, after a new element.
static HEAT: LazyLock<Vec<Touched>> = LazyLock::new(|| {
    let machine = small();
    touched(&machine, &[machine.part("element").unwrap()], &Conditions::at(230.0))
});

proptest! {
    /// Whatever is typed: no panic, and nothing but all passed is fit.
    #[test]
    fn only_all_passed_is_fit(lines in prop::collection::vec(
        prop::sample::select(vec![
            "visual = pass", "visual = fail", "earth bond = 0R09", "earth bond = 0R28", "earth bond = 0R5", "insulation = >299M",
            "insulation = 0.2 MΩ", "insulation = 1M1", "leakage = 0.4 mA", "leakage = 3.4 mA", "leakage = 9 mA", "functional = pass",
            "functional = fail", "touch = 0.1 mA", "touch = 5 mA",
        ]), 0..10), watts in 0.0f64..9000.0, unearthed_metal in any::<bool>()) {
        let subject = with(Subject::new(Class::I, 1.5, 1.5, watts).unwrap(), |s| s.unearthed_metal = unearthed_metal);
        let report = judge(&plan(&subject, standard("en").unwrap()), &readings(&lines), &tester(), TODAY, &HEAT, &[]);
        let all = report.items.iter().all(safety::Item::passed);
        // The step of its own test is never read here.
        prop_assert!(report.conclusion != Conclusion::FitToHandBack);
        let without = judge(&plan(&subject, standard("en").unwrap()), &readings(&lines), &tester(), TODAY, &[], &[]);
        prop_assert_eq!(all, without.conclusion == Conclusion::FitToHandBack);
        // What puts the machine on the mains is open or judged only where nothing before it stands against it.
        let passed = |t: Test| report.items.iter().all(|i| i.test != t || i.passed());
        let failed = |t: Test| report.items.iter().any(|i| i.test == t && i.verdict() == Some(Verdict::Fail));
        let leaks = |before: &[Test]| before.iter().any(|&t| !passed(t));
        for item in report.items.iter().filter(|i| !matches!(i.state, State::Blocked { .. })) {
            match item.test {
                Test::TouchCurrent => prop_assert!(!leaks(&[Test::ProtectiveConductorCurrent])),
                Test::Functional => prop_assert!(!leaks(&[Test::ProtectiveConductorCurrent, Test::TouchCurrent])),
                _ => {}
            }
        }
        for step in report.retest.iter().filter(|r| !matches!(r.state, Retested::Blocked(_))) {
            prop_assert!(report.items.iter().all(|i| i.test == Test::Functional || i.passed()), "{:?}", step.state);
        }
        if Test::ALL.into_iter().any(failed) {
            let runs = match report.next() {
                Some(Next::Test(item)) => item.test.energises(),
                Some(Next::Step(_)) => true,
                None => false,
            };
            prop_assert!(!runs, "{:?}", report.next());
        }
        for item in &report.items {
            if item.test.energises() && item.verdict().is_some() {
                let met = |t: Test| match state(&report, t) {
                    State::Done { verdict, .. } => *verdict == Verdict::Pass
                        || t == Test::Insulation && watts > 3500.0 && *verdict == Verdict::Unsure,
                    _ => false,
                };
                prop_assert!(met(Test::ProtectiveConductor) && met(Test::Insulation));
            }
        }
    }

    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,60}") {
        let _ = parse_typed(&text);
        let _ = standard(&text);
    }
}
