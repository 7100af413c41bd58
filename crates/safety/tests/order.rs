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
    Calibration, Conclusion, Reading, Report, State, Subject, Test, Tester, Typed, judge, parse_typed, plan,
    standard, standards,
};

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
        assert!(!earth_item.meaning.unwrap().look_for.is_empty());
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
    assert_eq!(open.next().unwrap().test, Test::ProtectiveConductorCurrent);
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
        if let Some(m) = item.meaning {
            told.push_str(&format!("  means: {}\n  look for: {}\n", m.says, m.look_for.join("; ")));
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

proptest! {
    /// Whatever is typed: no panic, and nothing but all passed is fit.
    #[test]
    fn only_all_passed_is_fit(lines in prop::collection::vec(
        prop::sample::select(vec![
            "visual = pass", "visual = fail", "earth bond = 0R09", "earth bond = 0R28", "earth bond = 0R5", "insulation = >299M",
            "insulation = 0.2 MΩ", "insulation = 1M1", "leakage = 0.4 mA", "leakage = 3.4 mA", "leakage = 9 mA", "functional = pass",
            "functional = fail", "touch = 0.1 mA",
        ]), 0..10), watts in 0.0f64..9000.0) {
        let subject = Subject::new(Class::I, 1.5, 1.5, watts).unwrap();
        let report = report(&subject, &lines);
        let all = report.items.iter().all(safety::Item::passed);
        prop_assert_eq!(all, report.conclusion == Conclusion::FitToHandBack);
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
