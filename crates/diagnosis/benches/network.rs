//! All posteriors of the 60-fault, 120-check reference networks, and of two sets of 20 machine-like ones beside a
//! general-purpose library. The set whose parts have several modes is run by the library in the same go, if the Python
//! that `PYTHON` names (or `python3`) has it (`pip install pyagrum`); else the seconds stored with the set are shown.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

#[path = "../tests/machines/mod.rs"]
mod machines;

use std::hint::black_box;
use std::process::Command;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use diagnosis::hypotheses::Limits;
use diagnosis::network::{Link, NoisyOr, Observed, TwoLayer};
use serde_json::Value;

fn load(name: &str) -> Value {
    let path = format!("{}/tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

fn network(instance: &Value) -> (TwoLayer, Vec<Observed>) {
    let check = |t: &Value| {
        let pairs = numbers(&t["parents"]).into_iter().zip(numbers(&t["link"]));
        let links = pairs.map(|(fault, probability)| Link { fault: fault as usize, probability }).collect();
        NoisyOr { leak: t["leak"].as_f64().unwrap(), links }
    };
    let checks = instance["tests"].as_array().unwrap().iter().map(check).collect();
    let observed = instance["observed"].as_object().unwrap().iter();
    let observed = observed.map(|(c, s)| Observed { check: c.parse().unwrap(), abnormal: s == 1 }).collect();
    (TwoLayer::new(numbers(&instance["prior"]), checks).unwrap(), observed)
}

fn posteriors(c: &mut Criterion) {
    for name in ["bn-05-local-60x120", "bn-06-spread-60x120", "bn-07-spread-14-abnormal"] {
        let (network, observed) = network(&load(name)["instance"]);
        c.bench_function(name, |b| b.iter(|| network.posterior(black_box(&observed)).unwrap()));
    }
}

fn beside_a_library(_: &mut Criterion) {
    let file = load("machine-like");
    let (mut ours, mut theirs) = (0.0, 0.0);
    for case in file["cases"].as_array().unwrap() {
        let (network, observed) = network(case);
        let start = Instant::now();
        for _ in 0..1000 {
            black_box(network.posterior(black_box(&observed)).unwrap());
        }
        ours += start.elapsed().as_secs_f64() / 1000.0;
        theirs += case["expected"]["seconds"].as_f64().unwrap();
    }
    println!(
        "20 machine-like networks: ours {ours:.3e} s, library {theirs:.3e} s, ratio {:.0}",
        theirs / ours
    );
}

/// Seconds of the library for the twenty machines of `machine_modes.py`, now.
fn library_now() -> Option<f64> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = format!("{}/tests/reference/machine_modes.py", env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(python).args([&script, "--time"]).output().ok()?;
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}

/// Mean seconds of ours for all machines, best of five, as the library is measured.
fn ours(machines: &[machines::Machine], ask: impl Fn(&machines::Machine)) -> f64 {
    let best = |machine: &machines::Machine| {
        let run = || {
            let start = Instant::now();
            ask(black_box(machine));
            start.elapsed().as_secs_f64()
        };
        (0..5).map(|_| run()).fold(f64::INFINITY, f64::min)
    };
    machines.iter().map(best).sum()
}

fn beside_a_library_with_modes(_: &mut Criterion) {
    let machines = machines::load();
    let stored: f64 = machines.iter().map(|m| m.seconds).sum();
    let (theirs, when) = library_now().map_or((stored, "when stored"), |now| (now, "now"));
    let networks: Vec<_> = machines.iter().map(machines::Machine::discrete).collect();
    let by_network = ours(&machines, |m| {
        let at = machines.iter().position(|other| other.seed == m.seed).unwrap();
        black_box(networks[at].posterior(&m.evidence()).unwrap());
    });
    println!("20 machines with several modes, library {theirs:.3e} s ({when})");
    println!("  network, exact:           {by_network:.3e} s, ratio {:.1}", theirs / by_network);
    for left_out in [1e-4, 1e-9] {
        let limits = Limits { left_out, likelihoods: 100_000, sets: 100_000 };
        let seconds = ours(&machines, |m| {
            black_box(m.posterior(&limits));
        });
        println!("  hypotheses, {left_out:.0e} left out: {seconds:.3e} s, ratio {:.1}", theirs / seconds);
    }
}

criterion_group!(benches, posteriors, beside_a_library, beside_a_library_with_modes);
criterion_main!(benches);
