//! Predicting all steps of the service test under all single faults and a spread of double faults, machine by machine.
//!
//! `cargo bench -p bench --bench predict`. The names give parts (wires among them), model and hypotheses; throughput
//! is in hypotheses. The time for all doubles is their number times the time of one of the spread.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

#[path = "../tests/support/mod.rs"]
mod support;

use bench::{Bench, Conditions, Hypothesis, Sweep};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use machine::model::Machine;
use std::hint::black_box;

/// Of the pairs of faults every so-many-th is predicted: a prime, so that the spread follows no order of the file.
const SPREAD: usize = 251;

fn doubles(machine: &Machine) -> Vec<Hypothesis> {
    let all: Vec<_> = machine.single_faults().collect();
    let pairs = all.iter().enumerate().flat_map(|(i, &a)| all[i + 1..].iter().map(move |&b| (a, b)));
    pairs.filter(|(a, b)| a.0 != b.0).map(|(a, b)| Hypothesis::of([a, b])).collect()
}

fn predict(c: &mut Criterion) {
    let mut machines: Vec<Machine> = support::shipped().iter().map(|(_, text)| support::read(text)).collect();
    machines.push(support::small(&[]));
    machines.sort_by_key(|m| m.parts.len());
    for machine in &machines {
        let (parts, conditions) = (machine.parts.len(), Conditions::at(machine.plate.supply_v));
        let singles: Vec<Hypothesis> = machine.single_faults().map(|f| Hypothesis::of([f])).collect();
        let pairs = doubles(machine);
        let spread: Vec<Hypothesis> = pairs.iter().step_by(SPREAD).cloned().collect();
        let mut group = c.benchmark_group(format!("{parts} parts, {}", machine.plate.model));
        group.sample_size(10);
        for (name, hypotheses) in [
            (format!("{} singles", singles.len()), &singles),
            (format!("{} of {} doubles", spread.len(), pairs.len()), &spread),
        ] {
            group.throughput(Throughput::Elements(hypotheses.len() as u64));
            group.bench_function(name, |b| {
                let mut bench = Bench::new(machine);
                b.iter(|| {
                    for hypothesis in hypotheses {
                        black_box(bench.predict(black_box(hypothesis), &conditions));
                    }
                });
            });
        }
    }
}

/// All single and double faults of parts and outputs (wires left out) of every machine, steps shared.
fn sweep(c: &mut Criterion) {
    let mut machines: Vec<Machine> = support::shipped().iter().map(|(_, text)| support::read(text)).collect();
    machines.sort_by_key(|m| m.parts.len());
    let mut group = c.benchmark_group("sweep without wires");
    group.sample_size(10);
    for machine in &machines {
        let conditions = Conditions::at(machine.plate.supply_v);
        let of_parts = |h: &Hypothesis| h.faults().iter().all(|f| machine.parts[f.0].ends.is_none());
        let singles = machine.single_faults().map(|f| Hypothesis::of([f]));
        let hypotheses: Vec<Hypothesis> = singles.chain(doubles(machine)).filter(of_parts).collect();
        let parts = machine.parts.iter().filter(|p| p.ends.is_none()).count();
        group.throughput(Throughput::Elements(hypotheses.len() as u64));
        group.bench_function(
            format!("{parts} parts, {}, {} hypotheses", machine.plate.model, hypotheses.len()),
            |b| {
                b.iter(|| {
                    let mut sweep = Sweep::new(machine, &conditions);
                    for hypothesis in &hypotheses {
                        black_box(sweep.predict(black_box(hypothesis)));
                    }
                });
            },
        );
    }
}

criterion_group!(benches, predict, sweep);
criterion_main!(benches);
