//! Evidence files: what one of each form is read as, what is said of bad ones, and that no text makes the reader panic.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::evidence::{Answer, Asked, At, Clue, Evidence, Listener, OhmsReading, read};
use machine::diagnostic::{Diagnostic, line_column};
use machine::model::Machine;
use proptest::prelude::*;
use quantity::Reading;
use std::fmt::Write;
use std::sync::LazyLock;

static WASHER: LazyLock<Machine> = LazyLock::new(|| {
    machine::read::read(include_str!("../../../machines/aldermere-tern-81.toml"), None).machine.unwrap()
});

const MACHINES: [&str; 5] = [
    include_str!("../../../machines/aldermere-tern-81.toml"),
    include_str!("../../../machines/brinehaven-gannet-7.toml"),
    include_str!("../../../machines/polwarren-cockle-52.toml"),
    include_str!("../../../machines/quaydon-ember-60.toml"),
    include_str!("../../../machines/saltreach-pilot-12.toml"),
];

fn all() -> diagnosis::evidence::EvidenceFile {
    read(&WASHER, include_str!("evidence/good/all.toml")).unwrap_or_else(|e| panic!("{e:#?}"))
}

#[test]
fn one_of_each_form_is_read() {
    let machine = &*WASHER;
    let file = all();
    let Evidence { supply, water_l, entries, trace, declined } = &file.evidence;
    assert!(supply.is_some_and(|s| s.volts == 238.0 && (0.5..1.0).contains(&s.u_v)));
    assert_eq!(*water_l, 0.5);
    assert!(trace.is_none());
    assert_eq!(*declined, ["hand suspension press tub"]);
    let place = |id: &str| machine.test.steps.iter().position(|s| s.id == id).unwrap();
    let function = |name: &str| machine.functions.iter().position(|f| f.name == name).unwrap();
    let code = |id: &str| machine.codes.iter().position(|c| c.id == id).unwrap();
    let clues: Vec<&Clue> = entries.iter().map(|e| &e.clue).collect();
    assert_eq!(*clues[0], Clue::Fails(vec![function("heats")]));
    assert_eq!(*clues[1], Clue::Works(function("fills")));
    assert_eq!(*clues[2], Clue::Code(Some(code("TMP"))));
    assert_eq!(*clues[3], Clue::Code(Some(code("DOR"))));
    let ohms = |clue: &Clue| -> OhmsReading {
        let Clue::Ohms(ohms) = clue else { panic!("{clue:?}") };
        ohms.clone()
    };
    assert_eq!(ohms(clues[4]).shown, Reading::OverRange { below_zero: false });
    assert_eq!(
        ohms(clues[4]).points,
        ["element.1", "element.2"].map(|n| bench::find_node(machine, n).unwrap())
    );
    // Put right by the last entry but one, and in the place of the wrong one.
    assert_eq!(ohms(clues[5]).names, ["A2.1", "neutral"]);
    assert_eq!(ohms(clues[5]).unplugged, ["A2"]);
    assert!(
        matches!(ohms(clues[5]).shown, Reading::Value(v) if v.value == 29.7 && (v.resolution - 0.1).abs() < 1e-12)
    );
    assert_eq!(ohms(clues[6]).unplugged, ["element.1", "element.2"]);
    assert!(ohms(clues[6]).insulation && ohms(clues[6]).shown == Reading::OverRange { below_zero: false });
    let Clue::Step(warm) = clues[7] else { panic!("{:?}", clues[7]) };
    assert_eq!(warm.step, place("warm"));
    let (power, current) = (warm.power_w.unwrap(), warm.current_a.unwrap());
    assert!((power.value - 2020.0).abs() < 1e-9 && (power.resolution - 10.0).abs() < 1e-9);
    assert!((current.value - 8.8).abs() < 1e-12 && (current.resolution - 0.1).abs() < 1e-12);
    assert_eq!((warm.speed_rpm.unwrap().value, warm.lasted_s.unwrap().value), (50.0, 80.0));
    // The ninth was taken back.
    assert_eq!(*clues[8], Clue::Sign { step: place("bolt"), sign: "clicks".to_owned(), seen: true });
    let part = |id: &str| machine.part(id).unwrap();
    assert!(matches!(clues[9], Clue::Hand { part: p, yes: true, .. } if *p == part("drum")));
    assert_eq!(entries[9].answers.as_deref(), Some("hand drum turn"));
    assert!(matches!(clues[10], Clue::Own { check: 2, yes: false }));
    assert!(matches!(ohms(clues[11]).shown, Reading::Value(v) if v.value == 5700.0));
    assert!(
        matches!(clues[12], Clue::Step(s) if s.step == place("right") && s.power_w.unwrap().value == 17.0)
    );
    assert_eq!(*clues[13], Clue::Mended { part: part("tub-probe"), works: Some(false) });
    assert_eq!(*clues[14], Clue::Mended { part: part("board"), works: Some(true) });
    assert_eq!(*clues[15], Clue::Cycles { function: function("heats"), worked: 7, failed: 2 });
    assert_eq!(clues.len(), 16);
    assert_eq!(entries[0].at.as_deref(), Some("2026-03-04T09:12:00"));
    let trace = file.trace.unwrap();
    assert_eq!(trace.path, "test.csv");
    let marks: Vec<(At, usize, bool)> = trace.marks.iter().map(|m| (m.at, m.step, m.edge)).collect();
    assert_eq!(
        marks,
        [(At::Clock(43_385.0), place("warm"), false), (At::After(250.0), place("empty"), true)]
    );
}

/// Place, underlined text, rule, message and remedies, one finding after the other.
fn told(text: &str, found: &[Diagnostic]) -> String {
    let mut out = String::new();
    for d in found {
        let (line, column) = line_column(text, d.span.start);
        let under = text[d.span.clone()].lines().next().unwrap_or("");
        writeln!(out, "{line}:{column} `{under}` {}: {}", d.rule, d.message).unwrap();
        for remedy in &d.remedies {
            writeln!(out, "    {remedy}").unwrap();
        }
    }
    out
}

#[test]
fn bad_files_are_refused_with_the_stored_words() {
    for (name, text) in [
        ("many", include_str!("evidence/bad/many.toml")),
        ("not-toml", include_str!("evidence/bad/not-toml.toml")),
        ("newer-format", include_str!("evidence/bad/newer-format.toml")),
        ("no-format", include_str!("evidence/bad/no-format.toml")),
        ("wrong-forms", include_str!("evidence/bad/wrong-forms.toml")),
        ("first-supersedes", include_str!("evidence/bad/first-supersedes.toml")),
    ] {
        let found = read(&WASHER, text).unwrap_err();
        insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "evidence/bad" }, {
            insta::assert_snapshot!(name, told(text, &found));
        });
    }
}

/// The ids that the engine gives are those that an answer may name.
#[test]
fn ids_of_checks_are_understood() {
    let listener = Listener::new(&WASHER);
    let machine = &*WASHER;
    for (p, part) in machine.parts.iter().enumerate() {
        for (c, check) in part.kind.checks.iter().enumerate() {
            let asked = listener.asked(&format!("hand {} {}", part.id, check.id)).unwrap();
            assert_eq!(asked, Asked::Hand { part: p, check: c });
        }
        assert_eq!(listener.asked(&format!("swap {}", part.id)).unwrap(), Asked::Swap(p));
    }
    for (at, check) in machine.checks.iter().enumerate() {
        assert_eq!(listener.asked(&format!("own {}", check.id)).unwrap(), Asked::Own(at));
    }
    for (at, step) in machine.test.steps.iter().enumerate() {
        assert_eq!(listener.asked(&format!("step {}", step.id)).unwrap(), Asked::Step(at));
    }
    let asked = listener.asked("insulation A2.1 chassis off A2 element.2").unwrap();
    let Asked::Ohms { names, unplugged, insulation: true, .. } = &asked else { panic!("{asked:?}") };
    assert_eq!(
        (names.clone(), unplugged.clone()),
        (["A2.1", "chassis"].map(String::from), vec!["A2".to_owned(), "element.2".to_owned()])
    );
    for answer in ["could not", "don't have", "Not sure"] {
        assert_eq!(listener.answer(asked.clone(), answer).unwrap(), Answer::Declined);
    }
    assert!(
        matches!(listener.answer(asked, "OL").unwrap(), Answer::Says(clues) if matches!(clues[..], [Clue::Ohms(_)]))
    );
}

/// An answer by id says the same as the reading in full.
#[test]
fn by_id_or_in_full_is_the_same() {
    let listener = Listener::new(&WASHER);
    for (id, answer, full) in [
        ("ohms element.1 element.2", "OL", "element.1 element.2 = OL"),
        ("ohms A6.1 A6.2 off A6", "5k7", "ohms A6.1 A6.2 off A6 = 5k7"),
        ("insulation A2.1 chassis", "2M", "insulation A2.1 chassis = 2M"),
        ("step warm", "2.02 kW 8,8 A", "step warm: 2.02 kW 8,8 A"),
        ("step report", "4.9 W, code TMP", "step report: code TMP; 4.9 W"),
        ("step soak-fill", "9.7 W, does not end in time", "step soak-fill: 9.7 W 60 s"),
        ("step right", "not drum turns, 18 W, no code", "right: 18 W, no drum turns, code none"),
    ] {
        let asked = listener.asked(id).unwrap();
        assert_eq!(
            listener.answer(asked, answer).unwrap(),
            Answer::Says(listener.reading(full).unwrap()),
            "{id}"
        );
    }
}

#[test]
fn every_complaint_of_every_machine_is_understood_as_its_function() {
    for text in MACHINES {
        let machine = machine::read::read(text, None).machine.unwrap();
        let listener = Listener::new(&machine);
        for (at, function) in machine.functions.iter().enumerate() {
            for complaint in &function.complaints {
                let Clue::Fails(places) = listener.complaint(&complaint.to_uppercase()).unwrap() else {
                    panic!()
                };
                assert!(places.contains(&at), "{complaint}: {places:?}");
            }
        }
    }
}

/// What is wrong with the panel, and what is heard of what turns, can be said of a step.
#[test]
fn signs_of_panel_and_drum_are_understood() {
    let listener = Listener::new(&WASHER);
    for said in [
        "recall: display dark",
        "recall: figures missing",
        "recall: keys dead",
        "full-spin: roars",
        "left: squeals",
    ] {
        let clue = listener.saw(said, Some("yes"));
        assert!(matches!(clue, Ok(Clue::Sign { seen: true, .. })), "{said}: {clue:?}");
    }
}

/// Whatever the engine may ask for, on every machine and with every instrument, is understood by its id.
#[test]
fn every_check_that_may_be_asked_for_is_understood() {
    use diagnosis::check::{CheckKind, Instrument};
    use diagnosis::setup::{Owned, Setup};
    let mut setup = Setup { live: true, ..Setup::default() };
    for instrument in [Instrument::InsulationTester, Instrument::Tachometer, Instrument::Thermometer] {
        setup.instruments.push(Owned { instrument, relative: 0.05, absolute: 1.0 });
    }
    for text in MACHINES {
        let machine = machine::read::read(text, None).machine.unwrap();
        let listener = Listener::new(&machine);
        let parts: Vec<usize> = (0..machine.parts.len()).collect();
        let checks = diagnosis::next::candidates(&machine, &setup, &parts);
        assert!(checks.len() > 50, "{}", checks.len());
        for check in checks {
            let asked = listener.asked(&check.id).unwrap_or_else(|e| panic!("{}: {e}", check.id));
            match asked {
                Asked::Ohms { names, unplugged, insulation, .. } => {
                    assert_eq!(Some(names), check.between, "{}", check.id);
                    assert_eq!(unplugged, check.unplugged, "{}", check.id);
                    assert_eq!(insulation, check.kind == CheckKind::Insulation, "{}", check.id);
                }
                Asked::Volts { names, step } => {
                    assert_eq!((Some(names), Some(step)), (check.between, check.step), "{}", check.id);
                    assert_eq!(check.kind, CheckKind::Voltage, "{}", check.id);
                }
                Asked::Step(step) => assert_eq!(Some(step), check.step, "{}", check.id),
                Asked::Hand { .. } | Asked::Own(_) => {
                    assert_eq!(check.kind, CheckKind::Observation, "{}", check.id);
                }
                Asked::Swap(_) => assert_eq!(check.kind, CheckKind::Swap, "{}", check.id),
            }
        }
    }
}

/// Every part of a form, the wrong ones too.
fn words() -> impl Strategy<Value = String> {
    let word = prop_oneof![
        Just("step"),
        Just("off"),
        Just("="),
        Just(":"),
        Just("insulation"),
        Just("volts"),
        Just("in"),
        Just("element.1"),
        Just("element.2"),
        Just("A2"),
        Just("A2.1"),
        Just("warm"),
        Just("2.02 kW"),
        Just("8,8"),
        Just("A"),
        Just("OL"),
        Just(">"),
        Just("26R4"),
        Just("hand"),
        Just("drum"),
        Just("turn"),
        Just("yes"),
        Just("no"),
        Just("drum turns"),
        Just("ä"),
        Just(","),
        Just("and"),
    ];
    prop::collection::vec(word, 0..9).prop_map(|w| w.join(" "))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// No words make the listener panic, and a refusal points into them.
    #[test]
    fn any_words_are_taken_or_refused(text in prop_oneof![words(), "\\PC{0,40}"]) {
        let listener = Listener::new(&WASHER);
        let mut spans = Vec::new();
        let mut keep = |r: Result<Clue, diagnosis::evidence::NotUnderstood>| spans.extend(r.err().map(|e| e.span));
        keep(listener.complaint(&text));
        keep(listener.works(&text));
        keep(listener.code(&text));
        keep(listener.reading(&text).map(|mut c| c.remove(0)));
        keep(listener.mended(&text, None));
        keep(listener.lamps(&[&text]));
        spans.extend(listener.asked(&text).err().map(|e| e.span));
        spans.extend(listener.supply(&text).err().map(|e| e.span));
        spans.extend(listener.water(&text).err().map(|e| e.span));
        for span in spans.into_iter().flatten() {
            prop_assert!(text.get(span.clone()).is_some(), "{span:?} in {text:?}");
        }
    }

    /// A file cut off or with bytes changed anywhere is read or refused, and every finding lies in it.
    #[test]
    fn a_damaged_file_is_told_of(at in 0usize..1400, with in "[a-z\"=\\[\\]\n ]{0,3}", cut in any::<bool>()) {
        let whole = include_str!("evidence/good/all.toml");
        let at = at.min(whole.len());
        let tail = if cut { "" } else { whole.get(at + with.len()..).unwrap_or("") };
        let text = format!("{}{with}{tail}", &whole[..at]);
        if let Err(found) = read(&WASHER, &text) {
            prop_assert!(!found.is_empty());
            for d in found {
                prop_assert!(text.get(d.span.clone()).is_some(), "{d:?}");
                prop_assert!(!d.remedies.is_empty() && d.remedies.iter().all(|r| !r.is_empty()), "{d:?}");
            }
        }
    }
}
