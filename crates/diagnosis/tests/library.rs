//! Twenty random machines whose parts fail in several ways, against a general-purpose library
//! (`reference/machine_modes.py`).
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod machines;

use diagnosis::hypotheses::{Fault, Limits};
use machines::{Machine, load};

const TOLERANCE: f64 = 1e-9;

#[test]
fn networks_agree_to_a_billionth() {
    for machine in load() {
        let answer = machine.discrete().posterior(&machine.evidence()).unwrap();
        assert!((answer.evidence - machine.expected_evidence).abs() <= TOLERANCE, "seed {}", machine.seed);
        for (part, expected) in machine.expected.iter().enumerate() {
            for (mode, expected) in expected.iter().enumerate() {
                let got = answer.variables[part][mode + 1];
                assert!(
                    (got - expected).abs() <= TOLERANCE,
                    "seed {}, part {part}, mode {mode}",
                    machine.seed
                );
            }
        }
    }
}

/// Fault by fault within the stated bound, which is as small as asked for.
#[test]
fn hypotheses_agree_within_their_bound() {
    for machine in load() {
        agrees(&machine, 1e-4);
    }
}

/// The same to a billionth, where that takes no more than some 100 000 sets of faults.
#[test]
fn hypotheses_agree_to_a_billionth() {
    let all = load();
    let exact = all.iter().filter(|machine| agrees(machine, TOLERANCE)).count();
    assert!(exact >= 10, "only {exact} machines were worked out to a billionth");
}

fn agrees(machine: &Machine, left_out: f64) -> bool {
    let answer = machine.posterior(&Limits { left_out, likelihoods: 100_000, sets: 100_000 });
    let faults = answer.faults();
    for (part, expected) in machine.expected.iter().enumerate() {
        for (mode, expected) in expected.iter().enumerate() {
            let got = faults.get(&Fault { part, mode }).copied().unwrap_or(0.0);
            let fits = got <= expected + 1e-12 && *expected <= got + answer.left_out + 1e-12;
            assert!(fits, "seed {}, part {part}, mode {mode}: {got}, expected {expected}", machine.seed);
        }
    }
    answer.left_out <= left_out
}
