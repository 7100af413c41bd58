//! Planning time on the largest reference problems, and gap and loss on machine-like ones of growing size.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

#[path = "../tests/problems/mod.rs"]
mod problems;

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use diagnosis::plan::{Effort, plan, ratio_rule};

fn reference(c: &mut Criterion) {
    let mut group = c.benchmark_group("exact");
    group.sample_size(10);
    for name in
        ["ts-05-nospin-tests", "ts-13-multi-noisyor-checks", "ts-15-medium", "ts-16-large", "ts-17-xlarge"]
    {
        let problem = problems::load(name).problem;
        let effort = Effort { states: 50_000_000, gap: 0.0 };
        group.bench_function(name, |b| b.iter(|| plan(black_box(&problem), &effort).unwrap()));
    }
    group.finish();
}

/// Machine-like problems: what the default effort takes, its gap, and how far its plan is from the best that a long search
/// knows. Means of five problems; the loss is at least that against the long search's plan, at most that against its
/// lower bound. Also what the P/C rule costs. `docs/performance-diagnosis.md` shows this table.
fn machine_like(_: &mut Criterion) {
    const PROBLEMS: u64 = 5;
    println!("suspects steps seconds slowest | gap % | loss % at least, at most | P/C rule, % above ours");
    for suspects in [5, 10, 20, 40, 80] {
        let mut sums = [0.0; 5];
        let (mut slowest, mut steps) = (0.0_f64, 0);
        for seed in 0..PROBLEMS {
            let problem = problems::after_a_service_test(suspects, seed);
            steps = problem.steps.len();
            let start = Instant::now();
            let quick = plan(&problem, &Effort::default()).unwrap();
            let seconds = start.elapsed().as_secs_f64();
            slowest = slowest.max(seconds);
            let long = plan(&problem, &Effort { states: LONG, gap: 0.0 }).unwrap();
            let best = long.upper.min(quick.upper);
            let above = |cost: f64| 100.0 * (cost / quick.upper - 1.0);
            let values = [
                seconds,
                100.0 * quick.gap() / quick.upper,
                100.0 * (quick.upper / best - 1.0),
                100.0 * (quick.upper / long.lower.max(quick.lower) - 1.0),
                above(ratio_rule(&problem).unwrap().cost),
            ];
            sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += value / PROBLEMS as f64);
        }
        println!(
            "{suspects:8} {steps:5} {:7.3} {slowest:7.3} | {:5.1} | {:7.1} {:7.1} | {:6.0}",
            sums[0], sums[1], sums[2], sums[3], sums[4]
        );
    }
}

/// States of the long search: some seconds.
const LONG: usize = 1_500_000;

criterion_group!(benches, reference, machine_like);
criterion_main!(benches);
