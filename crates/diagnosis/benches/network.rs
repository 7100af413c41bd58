//! All posteriors of the 60-fault, 120-check reference networks, and of 20 machine-like ones beside the seconds that a
//! general-purpose library took for them (`tests/reference/machine_like.py`).
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
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

criterion_group!(benches, posteriors, beside_a_library);
criterion_main!(benches);
