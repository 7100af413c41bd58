#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! Sharing steps between hypotheses must never change one: [`bench::Sweep`] against running every step.

use bench::{Bench, Conditions, Hypothesis, Prediction, Sweep};
use machine::model::Machine;

fn shipped(name: &str) -> Machine {
    let path = format!("{}/../../machines/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    machine::read::read(&std::fs::read_to_string(path).unwrap(), None).machine.unwrap()
}

/// Equal but for rounding: a path without current may leave another order of summing.
fn same(a: &Prediction, b: &Prediction) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() <= 1e-9 * (1.0 + y.abs());
    let all_near = |x: &[f64], y: &[f64]| x.len() == y.len() && x.iter().zip(y).all(|(x, y)| near(*x, *y));
    let beside = |p: &Prediction| -> Vec<f64> {
        let ways = p.directions_w.into_iter().flatten().flat_map(|e| [e.value, e.u]);
        ways.chain(p.rest_w).chain(p.tried_w).collect()
    };
    all_near(&beside(a), &beside(b))
        && near(a.power_w.value, b.power_w.value)
        && near(a.power_w.u, b.power_w.u)
        && near(a.current_a.value, b.current_a.value)
        && near(a.current_a.u, b.current_a.u)
        && near(a.apparent_va, b.apparent_va)
        && near(a.power_factor.unwrap_or(-1.0), b.power_factor.unwrap_or(-1.0))
        && near(a.speed_rpm.value, b.speed_rpm.value)
        && near(a.water_l, b.water_l)
        && near(a.rise_k.value, b.rise_k.value)
        && near(a.rise_k.u, b.rise_k.u)
        && near(a.speed_rpm.u, b.speed_rpm.u)
        && near(a.lasts_s, b.lasts_s)
        && near(a.earth_a, b.earth_a)
        && a.step == b.step
        && (a.code, a.code_shown, a.timed_out, a.one_way, a.ended)
            == (b.code, b.code_shown, b.timed_out, b.one_way, b.ended)
        && (&a.signs, &a.refused, &a.trip) == (&b.signs, &b.refused, &b.trip)
}

/// So many sets of three faults of different parts, from all over the machine.
const THREES: usize = 500;

/// All single faults, also where little water comes, every `stride`-th pair of faults of different parts, and some sets of three.
fn hold_to_the_long_way(name: &str, stride: usize) {
    let machine = shipped(name);
    let conditions = Conditions::at(machine.plate.supply_v);
    let mut sweep = Sweep::new(&machine, &conditions);
    let mut bench = Bench::new(&machine);
    let singles: Vec<_> = machine.single_faults().collect();
    let pairs =
        singles.iter().enumerate().flat_map(|(i, a)| singles[i + 1..].iter().map(move |b| vec![*a, *b]));
    let alone = || std::iter::once(Vec::new()).chain(singles.iter().map(|f| vec![*f]));
    let together = pairs.filter(|p| p[0].0 != p[1].0).step_by(stride);
    // Primes: no two sets are the same, and neighbours have nothing in common.
    let three = |n: usize| [7919, 104_729, 1_299_709].map(|p| singles[(n + 1) * p % singles.len()]).to_vec();
    let threes = (0..THREES).map(three).filter(|t| t[0].0 != t[1].0 && t[1].0 != t[2].0 && t[0].0 != t[2].0);
    let all = alone().chain(together).chain(threes).map(|faults| (faults, 1.0));
    let mut compared = 0;
    for (faults, flows) in all.chain(alone().map(|faults| (faults, 0.7))) {
        let hypothesis = Hypothesis::of(faults);
        let conditions = Conditions { flows, ..conditions };
        let shared = sweep.predict_with_flows(&hypothesis, flows);
        for (id, long) in shared.iter().zip(bench.predict(&hypothesis, &conditions)) {
            let short = sweep.get(*id);
            assert!(same(short, &long), "{name}, {}:\n{short:?}\n{long:?}", hypothesis.says(&machine));
            compared += 1;
        }
    }
    assert!(compared > 1_000, "only {compared} steps compared");
    assert!(sweep.steps_run() < compared, "nothing was shared");
}

/// Steps that are run for one fault beside each other fault of the inverter washer, after all single ones.
fn run_beside(fault: &str) -> usize {
    let machine = shipped("aldermere-tern-81");
    let mut sweep = Sweep::new(&machine, &Conditions::at(machine.plate.supply_v));
    let fault = Hypothesis::parse(&machine, &[fault]).unwrap().faults()[0];
    let singles: Vec<_> = machine.single_faults().collect();
    for &single in &singles {
        sweep.predict(&Hypothesis::of([single]));
    }
    let alone = sweep.steps_run();
    for &other in singles.iter().filter(|f| f.0 != fault.0) {
        sweep.predict(&Hypothesis::of([fault, other]));
    }
    sweep.steps_run() - alone
}

/// What a fault does not reach is not run again: an element that is open only takes away, a board that misreads shows where it
/// measures, a contact off the mains where it is asked. (By hearing parts alone these ran 2 123, 2 195 and 2 798 steps.)
#[test]
fn a_fault_that_reaches_little_is_run_little() {
    for (fault, most) in
        [("element=open", 500), ("board=sensor input", 1_000), ("base-float=stuck full", 2_000)]
    {
        let run = run_beside(fault);
        assert!(run < most, "{fault}: {run} steps run");
    }
}

#[test]
fn the_inverter_washer() {
    hold_to_the_long_way("aldermere-tern-81", 67);
}

#[test]
fn the_brushed_washer() {
    hold_to_the_long_way("polwarren-cockle-52", 67);
}

#[test]
fn the_dryer() {
    hold_to_the_long_way("brinehaven-gannet-7", 67);
}

#[test]
fn the_dishwasher() {
    hold_to_the_long_way("saltreach-pilot-12", 67);
}

#[test]
fn the_oven() {
    hold_to_the_long_way("quaydon-ember-60", 67);
}
