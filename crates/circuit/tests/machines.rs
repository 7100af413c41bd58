//! Whole machines: energy balance, and the plug's reading against the circuit simulator.
//!
//! Source of the latter: ngspice 39 (Debian package `ngspice`); netlists, results and script in `tests/reference/`,
//! descriptions by the example `export`.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

#[path = "support/steps.rs"]
#[allow(unreachable_pub, reason = "shared with an example")]
mod steps;

use circuit::Wiring;
use machine::kind::Flows;
use machine::model::Machine;
use proptest::prelude::*;
use std::sync::LazyLock;

/// The earth loop that `Wiring` gives leakage its way home through, Ω.
const EARTH_LOOP_OHM: f64 = 1.0;

#[test]
fn the_plug_reads_what_the_simulator_says() {
    for (name, tested) in steps::COMPARED {
        let machine = steps::load(name);
        for step in tested {
            let path = format!("{}/tests/reference/{name}-{step}.result.json", env!("CARGO_MANIFEST_DIR"));
            let simulated: serde_json::Value =
                serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
            let [re, im] = [0, 1].map(|i| simulated["supply_current_a"][i].as_f64().unwrap());
            let mut wiring = Wiring::new(&machine);
            wiring.assemble(&vec![None; machine.parts.len()], &steps::situations(&machine, step));
            let plug = wiring.solve(230.0).unwrap().plug();
            let (current, power) = (re.hypot(im), 230.0 * re);
            assert!(power > 5.0, "{name} {step}: something runs");
            assert!(
                (plug.current_a - current).abs() <= 1e-6 * current,
                "{name} {step}: {plug:?}, {current} A"
            );
            assert!((plug.power_w - power).abs() <= 1e-6 * power, "{name} {step}: {plug:?}, {power} W");
        }
    }
}

static MACHINES: LazyLock<Vec<Machine>> = LazyLock::new(|| {
    [
        "aldermere-tern-81",
        "brinehaven-gannet-7",
        "polwarren-cockle-52",
        "quaydon-ember-60",
        "saltreach-pilot-12",
    ]
    .map(steps::load)
    .into()
});

proptest! {
    /// Conservation of energy: what all branches and the earth loop take is what the plug gives.
    #[test]
    fn the_plug_gives_what_the_parts_take(which in 0..5usize, at in any::<prop::sample::Index>(), picks in prop::collection::vec(any::<prop::sample::Index>(), 0..4), volts in 200.0..255.0f64) {
        let machine = &MACHINES[which];
        let all: Vec<_> = machine.single_faults().collect();
        let mut modes = vec![None; machine.parts.len()];
        for pick in picks {
            let (part, mode) = *pick.get(&all);
            modes[part] = Some(mode);
        }
        let step = &at.get(&machine.test.steps).id;
        let mut wiring = Wiring::new(machine);
        wiring.assemble(&modes, &steps::situations(machine, step));
        // A short across the supply has no solution to balance.
        let Ok(solved) = wiring.solve(volts) else { return Ok(()) };
        let mut flows = Flows::default();
        let mut taken = EARTH_LOOP_OHM * solved.earth_current_a().powi(2);
        for part in 0..machine.parts.len() {
            solved.flows(part, &mut flows);
            taken += flows.watts.iter().sum::<f64>();
        }
        let plug = solved.plug();
        prop_assert!((taken - plug.power_w).abs() <= 1e-9 * plug.apparent_va + 1e-9, "{taken} W, {plug:?}");
    }
}
