//! What a voltmeter shows inside a running machine.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Conditions, Hypothesis, Voltmeter, predict, volts_between, volts_by_step};
use machine::model::Machine;

fn tern() -> Machine {
    let (_, text) = support::shipped().into_iter().find(|(name, _)| name.contains("tern")).unwrap();
    support::read(&text)
}

#[test]
fn the_supply_stands_across_what_is_open() {
    let machine = tern();
    let conditions = Conditions::at(230.0);
    let read = |points: (&str, &str), fault: &[&str]| {
        let hypothesis = Hypothesis::parse(&machine, fault).unwrap();
        volts_between(&machine, &conditions, &hypothesis, points, "warm").unwrap().value
    };
    let element = ("element.1", "element.2");
    let fed = read(element, &[]);
    // 8 A over the chokes of the filter, 0.8 Ω together, drop 6 V.
    assert!((223.0..225.0).contains(&fed), "{fed}");
    assert!((read(element, &["element=open"]) - 230.0).abs() < 1.0);
    assert!(read(element, &["cutout=open"]) < 1.0);
    assert!((read(("cutout.1", "cutout.2"), &["cutout=open"]) - 230.0).abs() < 1.0);
    assert!(read(("cutout.1", "cutout.2"), &[]) < 1.0);
    // A protection that has gone off leaves nothing.
    assert!(read(element, &["element=leak"]) < 1.0);
}

#[test]
fn volts_and_watts_of_the_element_agree() {
    let machine = tern();
    let conditions = Conditions::at(230.0);
    let mut meter = Voltmeter::new(&machine, &conditions, ("element.1", "element.2"), "warm").unwrap();
    let volts = meter.read(&Hypothesis::healthy());
    assert_eq!(volts, meter.read(&Hypothesis::healthy()));
    let open = Hypothesis::parse(&machine, &["element=open"]).unwrap();
    let warm = machine.test.steps.iter().position(|s| s.id == "warm").unwrap();
    let watts = |h: &Hypothesis| predict(&machine, h, &conditions)[warm].power_w.value;
    // The chokes carry the same current as the element: P = V_supply · V_element / R, with R from the plate.
    let element = machine.part("element").unwrap();
    let params = &machine.parts[element].params;
    let ohms = params.rated_at("rated").unwrap().powi(2) / params.nominal("rated");
    let drawn = watts(&Hypothesis::healthy()) - watts(&open);
    assert!((230.0 * volts.value / ohms / drawn - 1.0).abs() < 0.005, "{volts:?} {drawn}");
    let all = volts_by_step(&machine, &conditions, ("element.1", "element.2")).unwrap();
    assert!(all.iter().enumerate().all(|(at, v)| (v.value > 100.0) == (at == warm)), "{all:?}");
}

#[test]
fn what_is_not_there_is_refused() {
    let machine = tern();
    let conditions = Conditions::at(230.0);
    assert!(Voltmeter::new(&machine, &conditions, ("element.9", "element.2"), "warm").is_err());
    let Err(e) = Voltmeter::new(&machine, &conditions, ("element.1", "element.2"), "warn") else { panic!() };
    assert!(e.remedy.contains("warm"), "{e:?}");
}
