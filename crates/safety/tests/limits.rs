//! Every limit that was collected, with both sides of each; guard bands of JCGM 106.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use jiff::civil::date;
use machine::model::Class;
use proptest::prelude::*;
use quantity::Decoded;
use quantity::conformity::Verdict;
use safety::{
    Accuracy, Keep, Reading, Shown, Sort, Subject, Test, Tester, judge, limit, parse_typed, plan, standard,
};

/// A tester that is never off, so that a verdict turns at the limit itself.
fn exact() -> Tester {
    let none = Accuracy { relative: 0.0, absolute: 0.0 };
    Tester { accuracy: Test::ALL.map(|t| (t, none)).into(), ..Tester::default() }
}

fn reading(test: Test, value: f64) -> Reading {
    Reading { test, shown: Shown::Value(Decoded { value, resolution: 0.0 }), said: String::new() }
}

/// The verdict on one reading; all that must have passed before has.
fn verdict(key: &str, subject: &Subject, test: Test, value: f64) -> Verdict {
    let plan = plan(subject, standard(key).unwrap());
    let mut readings: Vec<Reading> = Vec::new();
    for needed in plan.planned.iter().filter(|p| p.test != test) {
        let shown = match &needed.limit {
            Some(l) if l.keep == Keep::AtMost => Shown::Value(Decoded { value: 0.0, resolution: 0.0 }),
            Some(_) => Shown::OverRange,
            None => Shown::Good(true),
        };
        readings.push(Reading { test: needed.test, shown, said: String::new() });
    }
    // Where the current decides about insulation, nothing is known of it here.
    readings.retain(|r| test != Test::Insulation || r.test != Test::ProtectiveConductorCurrent);
    readings.push(reading(test, value));
    let report = judge(&plan, &readings, &exact(), date(2026, 11, 27), &[], &[]);
    report.items.iter().find(|i| i.test == test).unwrap().verdict().unwrap()
}

/// The appliance with something changed.
fn with(mut subject: Subject, change: impl FnOnce(&mut Subject)) -> Subject {
    change(&mut subject);
    subject
}

fn class_one() -> Subject {
    Subject::new(Class::I, 1.5, 1.5, 0.0).unwrap()
}

fn of(class: Class) -> Subject {
    Subject::new(class, 1.5, 1.5, 0.0).unwrap()
}

fn heating(watts: f64, sort: Sort) -> Subject {
    with(Subject::new(Class::I, 1.5, 1.5, watts).unwrap(), |s| s.sort = sort)
}

fn lead(metres: f64, core: f64) -> Subject {
    Subject::new(Class::I, metres, core, 0.0).unwrap()
}

/// Where a row of the collection is held to: standard, test, appliance, and the limit in Ω or A.
type Place = (&'static str, Test, Subject, f64);

/// One entry a row, in the order of the collection; none for what is no test after a repair.
fn places() -> Vec<Option<Place>> {
    use Test::{Insulation, ProtectiveConductor, ProtectiveConductorCurrent as Current, TouchCurrent};
    let portable = || {
        with(class_one(), |s| {
            s.sort = Sort::Portable;
        })
    };
    let sheathed = with(class_one(), |s| {
        s.sheathed_element = true;
    });
    vec![
        Some(("en", ProtectiveConductor, lead(5.0, 1.5), 0.3)),
        Some(("en", ProtectiveConductor, lead(12.5, 1.5), 0.4)),
        Some(("en", ProtectiveConductor, lead(80.0, 1.5), 1.0)),
        // 0.0178 Ω·mm²/m · 20 m/2.5 mm²
        Some(("en", ProtectiveConductor, lead(20.0, 2.5), 0.1424)),
        Some(("en", Insulation, class_one(), 1.0e6)),
        Some(("en", Insulation, heating(3600.0, Sort::Heating), 0.3e6)),
        Some(("en", Insulation, of(Class::II), 2.0e6)),
        Some(("en", Insulation, of(Class::III), 0.25e6)),
        Some(("en", Current, heating(3500.0, Sort::Heating), 3.5e-3)),
        Some(("en", Current, heating(7400.0, Sort::Heating), 7.4e-3)),
        Some(("en", TouchCurrent, of(Class::II), 0.5e-3)),
        Some(("vde-0701-1", Current, heating(6000.0, Sort::Heating), 7.0e-3)),
        Some(("vde-0701-1", Current, heating(6001.0, Sort::Heating), 15.0e-3)),
        // 0.1 Ω + 0.0178 Ω·mm²/m · 1.5 m/1.5 mm²
        Some(("iet-4", ProtectiveConductor, class_one(), 0.1178)),
        Some(("iet-5", ProtectiveConductor, class_one(), 0.1178)),
        Some(("iet-4", Insulation, class_one(), 1.0e6)),
        Some(("iet-4", Insulation, heating(3000.0, Sort::Heating), 0.3e6)),
        Some(("iet-4", Insulation, of(Class::II), 2.0e6)),
        Some(("iet-4", Insulation, of(Class::III), 0.25e6)),
        Some(("iet-4", Current, portable(), 0.75e-3)),
        Some(("iet-4", Current, class_one(), 3.5e-3)),
        Some(("iet-4", Current, heating(2000.0, Sort::Heating), 1.5e-3)),
        Some(("iet-4", TouchCurrent, of(Class::II), 0.25e-3)),
        Some(("iet-5", Current, class_one(), 5.0e-3)),
        Some(("as-nzs", ProtectiveConductor, class_one(), 1.0)),
        Some(("as-nzs", Insulation, class_one(), 1.0e6)),
        Some(("as-nzs", Insulation, sheathed, 0.01e6)),
        Some(("as-nzs", Current, class_one(), 5.0e-3)),
        Some(("as-nzs", TouchCurrent, of(Class::II), 1.0e-3)),
        Some(("iec-60335-1", TouchCurrent, of(Class::II), 0.25e-3)),
        Some(("iec-60335-1", TouchCurrent, of(Class::III), 0.5e-3)),
        Some(("iec-60335-1", Current, portable(), 0.75e-3)),
        Some(("iec-60335-1", Current, class_one(), 3.5e-3)),
        Some(("iec-60335-1", Current, heating(2000.0, Sort::Heating), 1.5e-3)),
        Some(("iec-60335-1", ProtectiveConductor, class_one(), 0.1)),
        // Residual voltage at the plug: a type test that `bench` reckons with, not a test after a repair.
        None,
        // Refrigerant: outside this program.
        None,
    ]
}

#[test]
fn every_row_is_held_on_both_sides() {
    let data: toml::Table = include_str!("reference/limits.toml").parse().unwrap();
    let rows = data["limit"].as_array().unwrap();
    let places = places();
    assert_eq!(rows.len(), places.len());
    for (row, place) in rows.iter().zip(places) {
        let text = |key: &str| row[key].as_str().unwrap();
        let Some((key, test, subject, wanted)) = place else { continue };
        let what = format!("{} {} {}", text("standard"), text("test"), text("condition"));
        let found = limit(standard(key).unwrap(), test, &subject).unwrap();
        assert!((found.value - wanted).abs() <= 1e-12 * wanted, "{what}: {}", found.value);
        // A row without formula states the limit itself.
        if row.get("formula").is_none() {
            let unit = match text("unit") {
                "ohm" => 1.0,
                "Mohm" => 1e6,
                "mA" => 1e-3,
                unit => panic!("{unit}"),
            };
            let stated = row["value"].as_float().unwrap() * unit;
            let added_or_ceiling = text("condition").contains("ceiling");
            assert!(added_or_ceiling || (stated - wanted).abs() <= 1e-12 * wanted, "{what}: {stated}");
        }
        assert_eq!(found.keep == Keep::AtMost, text("op") == "<=", "{what}");
        assert_eq!(
            found.from_memory,
            text("status") == "from-memory" || found.source.contains("from memory"),
            "{what}"
        );
        let beyond = if found.keep == Keep::AtMost { 1.0 + 1e-6 } else { 1.0 - 1e-6 };
        assert_eq!(verdict(key, &subject, test, found.value), Verdict::Pass, "{what}: on the limit");
        // Insulation that the current decides about does not fail at once.
        let past = if found.current_decides { Verdict::Unsure } else { Verdict::Fail };
        assert_eq!(verdict(key, &subject, test, found.value * beyond), past, "{what}: beyond the limit");
        assert_eq!(
            verdict(key, &subject, test, found.value / beyond),
            Verdict::Pass,
            "{what}: within the limit"
        );
    }
}

/// The same limits for unearthed metal on class I, and the second class of rows that name two.
#[test]
fn rows_of_two_classes_hold_for_both() {
    let unearthed = with(class_one(), |s| {
        s.unearthed_metal = true;
    });
    for (key, milliamperes) in [("en", 0.5), ("iet-4", 0.25), ("iet-5", 5.0), ("as-nzs", 1.0)] {
        for subject in [unearthed, of(Class::II)] {
            let found = limit(standard(key).unwrap(), Test::TouchCurrent, &subject).unwrap();
            assert!((found.value - milliamperes / 1e3).abs() < 1e-15, "{key}");
        }
        assert!(limit(standard(key).unwrap(), Test::TouchCurrent, &class_one()).is_none());
    }
    let second = limit(standard("as-nzs").unwrap(), Test::Insulation, &of(Class::II)).unwrap();
    assert_eq!(second.value, 1.0e6);
    let by_hand = with(class_one(), |s| {
        s.powered_switching = false;
    });
    assert!(limit(standard("as-nzs").unwrap(), Test::ProtectiveConductorCurrent, &by_hand).is_none());
}

/// Edges by length of lead, 1.5 mm² (printed in the same steps for the older standard, seen second-hand).
#[test]
fn the_lead_steps_at_its_edges() {
    for (metres, ohms) in [
        (1.5, 0.3),
        (5.0, 0.3),
        (5.1, 0.4),
        (12.5, 0.4),
        (12.6, 0.5),
        (20.0, 0.5),
        (27.5, 0.6),
        (35.0, 0.7),
        (42.5, 0.8),
        (50.0, 0.9),
        (57.5, 1.0),
        (80.0, 1.0),
    ] {
        let found = limit(standard("en").unwrap(), Test::ProtectiveConductor, &lead(metres, 1.5)).unwrap();
        assert_eq!(found.value, ohms, "{metres} m");
    }
}

/// Edges by heating: EN by 3.5 kW, the type test and IET (cooking) by 0.75 mA/kW.
#[test]
fn the_current_steps_at_its_edges() {
    for (kw, milliamperes) in
        [(0.0, 3.5), (2.2, 3.5), (3.5, 3.5), (3.6, 3.6), (7.4, 7.4), (10.0, 10.0), (12.0, 10.0)]
    {
        let subject = heating(kw * 1000.0, Sort::Stationary);
        let found = limit(standard("en").unwrap(), Test::ProtectiveConductorCurrent, &subject).unwrap();
        assert!((found.value * 1e3 - milliamperes).abs() < 1e-12, "{kw} kW");
    }
    for (kw, milliamperes) in [(0.5, 0.75), (1.0, 0.75), (2.0, 1.5), (8.0, 5.0)] {
        for key in ["iet-4", "iec-60335-1"] {
            let subject = heating(kw * 1000.0, Sort::Heating);
            let found = limit(standard(key).unwrap(), Test::ProtectiveConductorCurrent, &subject).unwrap();
            assert!((found.value * 1e3 - milliamperes).abs() < 1e-12, "{key} {kw} kW");
        }
    }
    // IET insulation turns at 3 kW (from memory).
    for (watts, ohms) in [(2999.0, 1.0e6), (3000.0, 0.3e6)] {
        let subject = heating(watts, Sort::Heating);
        assert_eq!(limit(standard("iet-4").unwrap(), Test::Insulation, &subject).unwrap().value, ohms);
    }
}

/// A reading on the limit passes as a technician types it: the decimals of notation and of the data file meet.
#[test]
fn typed_readings_meet_the_limit_exactly() {
    for (line, subject, passes) in [
        ("earth bond = 0R3", class_one(), true),
        ("earth bond = 300 mΩ", class_one(), true),
        ("earth bond = 0R4", lead(12.5, 1.5), true),
        ("earth bond = 0R5", lead(12.5, 1.5), false),
        ("insulation = 1M0", class_one(), true),
        ("insulation = 999k", class_one(), false),
        ("leakage = 3.5 mA", class_one(), true),
        ("leakage = 3,51 mA", class_one(), false),
        ("leakage = 7.4 mA", heating(7400.0, Sort::Heating), true),
        ("touch current = 500 µA", of(Class::II), true),
    ] {
        let safety::Typed::Test(reading) = parse_typed(line).unwrap() else { panic!() };
        let Shown::Value(v) = reading.shown else { panic!() };
        let found = verdict("en", &subject, reading.test, v.value);
        assert_eq!(found == Verdict::Pass, passes, "{line}");
    }
}

/// JCGM 106:2012, 7.3 and ILAC-G8:09/2019, 4.2.2: 0.26 Ω against 0.30 Ω with u = 0.025 Ω conforms with 0.9452, the acceptance
/// limit with w = U is 0.25 Ω; 1.2 MΩ against 1.0 MΩ with u = 0.08 MΩ conforms with 0.99379.
#[test]
fn guard_bands_of_jcgm_106() {
    let half_width = 3f64.sqrt();
    let tester = Tester {
        accuracy: [
            (Test::ProtectiveConductor, Accuracy { relative: 0.0, absolute: 0.025 * half_width }),
            (Test::Insulation, Accuracy { relative: 0.0, absolute: 0.08e6 * half_width }),
        ]
        .into(),
        ..Tester::default()
    };
    let plan = plan(&class_one(), standard("en").unwrap());
    let good = Reading { test: Test::Visual, shown: Shown::Good(true), said: String::new() };
    let judged = |earth: f64, insulation: f64| {
        let readings =
            [good.clone(), reading(Test::ProtectiveConductor, earth), reading(Test::Insulation, insulation)];
        let report = judge(&plan, &readings, &tester, date(2026, 11, 27), &[], &[]);
        report.items.iter().find_map(|i| match &i.state {
            safety::State::Done { judged, .. }
                if i.test == if insulation > 0.0 { Test::Insulation } else { Test::ProtectiveConductor } =>
            {
                Some(judged[0].clone())
            }
            _ => None,
        })
    };
    let earth = judged(0.26, 0.0).unwrap();
    assert_eq!(earth.verdict, Verdict::Unsure);
    assert!((earth.probability.unwrap() - 0.9452).abs() <= 5e-5);
    assert!((earth.accepted.unwrap() - 0.25).abs() <= 1e-12 && (earth.expanded_u - 0.05).abs() <= 1e-12);
    assert_eq!(judged(0.2499, 0.0).unwrap().verdict, Verdict::Pass);
    assert_eq!(judged(0.3001, 0.0).unwrap().verdict, Verdict::Fail);
    // At the acceptance limit of w = U the risk of a wrong pass is 2.275 % (the normal tail beyond 2).
    let edge = judged(0.25 - 1e-12, 0.0).unwrap();
    assert_eq!(edge.verdict, Verdict::Pass);
    assert!((1.0 - edge.probability.unwrap() - 0.02275).abs() <= 1e-5);
    let insulation = judged(0.1, 1.2e6).unwrap();
    assert_eq!(insulation.verdict, Verdict::Pass);
    assert!((insulation.probability.unwrap() - 0.99379).abs() <= 5e-6);
}

/// A bound says as much as it can: more than 299 MΩ is good insulation, more than 0.5 MΩ tells nothing.
#[test]
fn bounds_say_what_they_can() {
    for (line, wanted) in [
        ("insulation = >299M", Verdict::Pass),
        ("insulation = OL", Verdict::Pass),
        ("insulation = >0.5 MΩ", Verdict::Unsure),
        ("insulation = <0.5 MΩ", Verdict::Fail),
        ("insulation = <2 MΩ", Verdict::Unsure),
        ("earth bond = OL", Verdict::Fail),
        ("earth bond = <0.1 Ω", Verdict::Pass),
        ("earth bond = <0.5 Ω", Verdict::Unsure),
        ("earth bond = >2 Ω", Verdict::Fail),
    ] {
        let plan = plan(&class_one(), standard("en").unwrap());
        let lines = ["visual = pass", "earth bond = 0R05", line];
        let mut readings: Vec<Reading> = Vec::new();
        for line in lines {
            let safety::Typed::Test(reading) = parse_typed(line).unwrap() else { panic!() };
            readings.retain(|r| r.test != reading.test);
            readings.push(reading);
        }
        let test = readings.last().unwrap().test;
        let report = judge(&plan, &readings, &Tester::default(), date(2026, 11, 27), &[], &[]);
        assert_eq!(report.items.iter().find(|i| i.test == test).unwrap().verdict(), Some(wanted), "{line}");
    }
}

proptest! {
    /// A longer lead never lowers the limit of the protective conductor; a thicker one never raises it; more heating never
    /// lowers that of the current, nor raises that of the insulation.
    #[test]
    fn limits_are_monotone(
        metres in 0.0f64..90.0, more in 0.0f64..10.0, core in 0.5f64..1.5, watts in 0.0f64..20_000.0, warmer in 0.0f64..10_000.0,
        key in prop::sample::select(vec!["en", "iet-4", "iet-5", "as-nzs"]),
        sort in prop::sample::select(vec![Sort::Portable, Sort::Stationary, Sort::Heating]),
    ) {
        let at = |metres: f64, core: f64, watts: f64, test| {
            let subject = with(Subject::new(Class::I, metres, core, watts).unwrap(), |s| s.sort = sort);
            limit(standard(key).unwrap(), test, &subject).unwrap().value
        };
        let earth = |metres, core| at(metres, core, 0.0, Test::ProtectiveConductor);
        prop_assert!(earth(metres + more, core) >= earth(metres, core));
        prop_assert!(earth(metres, core) >= earth(metres, 1.5));
        let current = |watts| at(1.5, 1.5, watts, Test::ProtectiveConductorCurrent);
        prop_assert!(current(watts + warmer) >= current(watts));
        let insulation = |watts| at(1.5, 1.5, watts, Test::Insulation);
        prop_assert!(insulation(watts + warmer) <= insulation(watts));
    }

    /// The acceptance limit that is shown is where the verdict turns.
    #[test]
    fn the_acceptance_limit_is_where_it_turns(relative in 0.0f64..0.5, absolute in 0.0f64..0.1) {
        let tester = Tester {
            accuracy: [(Test::ProtectiveConductor, Accuracy { relative, absolute })].into(),
            ..Tester::default()
        };
        let plan = plan(&class_one(), standard("en").unwrap());
        let at = |ohms: f64| {
            let report = judge(&plan, &[reading(Test::ProtectiveConductor, ohms)], &tester, date(2026, 11, 27), &[], &[]);
            match &report.items.iter().find(|i| i.test == Test::ProtectiveConductor).unwrap().state {
                safety::State::Done { judged, .. } => judged[0].clone(),
                _ => panic!(),
            }
        };
        let edge = at(0.1).accepted.unwrap();
        prop_assume!(edge > 1e-6);
        prop_assert_eq!(at(edge * (1.0 - 1e-9)).verdict, Verdict::Pass);
        prop_assert!(at(edge * (1.0 + 1e-9) + 1e-12).verdict != Verdict::Pass || relative + absolute < 1e-9);
    }

    /// A worse reading never gets a better verdict, whatever the tester.
    #[test]
    fn verdicts_are_monotone(ohms in 0.0f64..2.0, more in 0.0f64..1.0, relative in 0.0f64..0.2, absolute in 0.0f64..0.1) {
        let tester = Tester {
            accuracy: [(Test::ProtectiveConductor, Accuracy { relative, absolute })].into(),
            ..Tester::default()
        };
        let plan = plan(&class_one(), standard("en").unwrap());
        let rank = |ohms: f64| {
            let report = judge(&plan, &[reading(Test::ProtectiveConductor, ohms)], &tester, date(2026, 11, 27), &[], &[]);
            match report.items.iter().find(|i| i.test == Test::ProtectiveConductor).unwrap().verdict().unwrap() {
                Verdict::Pass => 0,
                Verdict::Unsure => 1,
                Verdict::Fail => 2,
            }
        };
        prop_assert!(rank(ohms) <= rank(ohms + more));
    }
}
