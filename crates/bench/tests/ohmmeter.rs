#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! An ohmmeter that keeps its readings must show what one set up afresh for the hypothesis shows.

mod support;

use bench::{Hypothesis, Ohmmeter, Ohms};
use machine::model::Machine;

/// Equal but for rounding: parts off the way may leave another order of summing.
fn same(a: Ohms, b: Ohms) -> bool {
    match (a, b) {
        (Ohms::Open, Ohms::Open) => true,
        (Ohms::Ohms { value: a, u: u_a }, Ohms::Ohms { value: b, u: u_b }) => {
            (a - b).abs() <= 1e-9 * (1.0 + b) && (u_a - u_b).abs() <= 1e-9 * (1.0 + u_b)
        }
        _ => false,
    }
}

/// All single faults and a spread of pairs, between two points, against one network for each.
fn hold_to_fresh_ones(machine: &Machine, (a, b): (&str, &str), unplugged: &[String], stride: usize) {
    let mut kept = Ohmmeter::new(machine, (a, b), unplugged).unwrap();
    let singles: Vec<_> = machine.single_faults().collect();
    let pairs =
        singles.iter().enumerate().flat_map(|(i, f)| singles[i + 1..].iter().map(move |g| vec![*f, *g]));
    let all = singles.iter().map(|f| vec![*f]).chain(pairs.step_by(stride));
    let mut shown = Vec::new();
    for faults in all {
        let hypothesis = Hypothesis::of(faults);
        let reads = kept.read(&hypothesis);
        let fresh = Ohmmeter::new(machine, (a, b), unplugged).unwrap().read(&hypothesis);
        let values = (value(reads), long_way(machine, (a, b), unplugged, &hypothesis));
        let says = hypothesis.says(machine);
        assert!(same(reads, fresh), "{a} – {b}, {says}: {reads:?}, afresh {fresh:?}");
        assert!(near(values.0, values.1), "{a} – {b}, {says}: {values:?}");
        shown.push(values.0);
    }
    shown.dedup_by(|a, b| near(*a, *b));
    assert!(shown.len() > 1, "{a} – {b}: every fault reads the same");
}

fn value(reads: Ohms) -> f64 {
    match reads {
        Ohms::Ohms { value, .. } => value,
        Ohms::Open => f64::INFINITY,
    }
}

fn near(a: f64, b: f64) -> bool {
    a == b || (a.is_finite() && b.is_finite() && (a - b).abs() <= 1e-9 * (1.0 + b))
}

/// The whole network with every fault in it.
fn long_way(machine: &Machine, (a, b): (&str, &str), unplugged: &[String], hypothesis: &Hypothesis) -> f64 {
    let rest = machine::kind::Situation {
        rated_v: machine.plate.supply_v,
        hz: machine.plate.supply_hz,
        driven: false,
        wanted_rpm: 0.0,
        moving: true,
        locked: false,
        level_l: 0.0,
        temperature_c: 20.0,
        speed_rpm: 0.0,
        demand_w: 0.0,
        demand_u_w: 0.0,
        drag: 1.0,
    };
    let mut wiring = circuit::Wiring::new(machine);
    wiring.pull_plug();
    wiring.unplug(unplugged);
    wiring.assemble(&hypothesis.modes(machine), &vec![rest; machine.parts.len()]);
    match wiring.resistance(bench::find_node(machine, a).unwrap(), bench::find_node(machine, b).unwrap()) {
        circuit::Resistance::Ohms(ohm) if ohm < 40e6 => ohm,
        _ => f64::INFINITY,
    }
}

#[test]
fn heater_sensor_and_plug_of_the_inverter_washer() {
    let shipped = support::shipped();
    let (_, text) = shipped.iter().find(|(name, _)| name.contains("tern")).unwrap();
    let machine = support::read(text);
    hold_to_fresh_ones(&machine, ("A2.1", "element.2"), &[], 997);
    hold_to_fresh_ones(&machine, ("A6.1", "A6.2"), &["A6".to_owned()], 997);
    hold_to_fresh_ones(&machine, ("cord.l", "cord.n"), &[], 997);
    hold_to_fresh_ones(&machine, ("A8.1", "A8.2"), &[], 997);
}
