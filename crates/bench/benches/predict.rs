//! Predicting all steps of the service test under all single faults and a spread of double faults, machine by machine.
//!
//! `cargo bench -p bench --bench predict`; with `-- sweep`, `-- growth` or `-- ohmmeter`, only these. In the first group
//! every step of every hypothesis is run: the names give parts (wires among them), model and hypotheses, throughput is in
//! hypotheses, and the time for all doubles is their number times the time of one of the spread. `sweep` and `growth`
//! share steps and instants (parts without wires; throughput in predictions). Figures: docs/performance.md.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

#[path = "../tests/support/larger.rs"]
mod larger;
#[path = "../tests/support/mod.rs"]
mod support;

use bench::{Bench, Conditions, Hypothesis, Ohmmeter, Sweep};
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, Criterion, Throughput, criterion_group, criterion_main};
use larger::{core_time, with_further_valves};
use machine::model::Machine;
use std::hint::black_box;
use std::time::Duration;

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

/// Which faults a sweep takes.
#[derive(Clone, Copy, PartialEq)]
enum Wires {
    Without,
    With,
}

/// Healthy, all single and all double faults.
fn all_faults(machine: &Machine, wires: Wires) -> Vec<Hypothesis> {
    let taken =
        |h: &Hypothesis| wires == Wires::With || h.faults().iter().all(|f| machine.parts[f.0].ends.is_none());
    let singles = machine.single_faults().map(|f| Hypothesis::of([f]));
    std::iter::once(Hypothesis::healthy()).chain(singles.chain(doubles(machine)).filter(taken)).collect()
}

/// Measures all steps under all single and double faults of one machine, steps and instants shared.
fn measure_sweep(group: &mut BenchmarkGroup<'_, WallTime>, machine: &Machine, wires: Wires) {
    let conditions = Conditions::at(machine.plate.supply_v);
    let hypotheses = all_faults(machine, wires);
    let parts = machine.parts.iter().filter(|p| p.ends.is_none()).count();
    let faults = match wires {
        Wires::Without => "faults of parts",
        Wires::With => "faults of parts and wires",
    };
    let steps = machine.test.steps.len();
    let (model, count) = (&machine.plate.model, hypotheses.len());
    group.throughput(Throughput::Elements((count * steps) as u64));
    group.bench_function(
        format!("{parts} parts, {model}, {count} hypotheses ({faults}), {steps} steps"),
        |b| {
            b.iter_custom(|times| {
                let start = core_time();
                for _ in 0..times {
                    let mut sweep = Sweep::new(machine, &conditions);
                    for hypothesis in &hypotheses {
                        black_box(sweep.predict(black_box(hypothesis)));
                    }
                }
                core_time().saturating_sub(start)
            });
        },
    );
}

/// Every shipped machine, without and with faults of wires.
fn sweep(c: &mut Criterion) {
    let mut machines: Vec<Machine> = support::shipped().iter().map(|(_, text)| support::read(text)).collect();
    machines.sort_by_key(|m| m.parts.len());
    let mut group = c.benchmark_group("sweep");
    group.sample_size(10).measurement_time(Duration::from_secs(2));
    for wires in [Wires::Without, Wires::With] {
        for machine in &machines {
            measure_sweep(&mut group, machine, wires);
        }
    }
}

/// How the time grows with parts: the small machine of the tests, then the largest shipped one with more and more valves.
fn growth(c: &mut Criterion) {
    let mut group = c.benchmark_group("growth");
    group.sample_size(10).measurement_time(Duration::from_secs(2));
    let larger = [0, 4, 8, 16].into_iter().map(with_further_valves);
    for machine in std::iter::once(support::small(&[])).chain(larger) {
        measure_sweep(&mut group, &machine, Wires::Without);
    }
}

/// What an ohmmeter shows at the heater's connector under every single and double fault.
fn ohmmeter(c: &mut Criterion) {
    let machine = with_further_valves(0);
    let hypotheses = all_faults(&machine, Wires::With);
    let mut group = c.benchmark_group("ohmmeter");
    group.throughput(Throughput::Elements(hypotheses.len() as u64));
    group.bench_function(format!("{} hypotheses", hypotheses.len()), |b| {
        b.iter(|| {
            let mut meter = Ohmmeter::new(&machine, ("A2.1", "element.2"), &[]).unwrap();
            for hypothesis in &hypotheses {
                black_box(meter.read(black_box(hypothesis)));
            }
        });
    });
}

criterion_group!(benches, predict, sweep, growth, ohmmeter);
criterion_main!(benches);
