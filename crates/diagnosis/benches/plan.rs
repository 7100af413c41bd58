//! Planning time on the largest reference problems, and on machine-like ones of growing size.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

#[path = "../tests/problems/mod.rs"]
mod problems;

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use diagnosis::plan::{Effort, plan};

fn reference(c: &mut Criterion) {
    let mut group = c.benchmark_group("exact");
    group.sample_size(10);
    for name in ["ts-05-nospin-tests", "ts-13-multi-noisyor-checks", "ts-15-medium", "ts-16-large"] {
        let problem = problems::load(name).problem;
        let effort = Effort { states: 5_000_000, gap: 0.0 };
        group.bench_function(name, |b| b.iter(|| plan(black_box(&problem), &effort).unwrap()));
    }
    group.finish();
}

/// How the gap closes with effort, and what one state costs, from 10 parts to 80.
fn machine_like(_: &mut Criterion) {
    println!("parts suspects steps   states  seconds    lower    upper   gap %");
    for parts in [10, 20, 40, 80] {
        let problem = problems::machine_like(parts, 1);
        for states in [1_000, 10_000, 50_000] {
            let start = Instant::now();
            let answer = plan(&problem, &Effort { states, gap: 0.0 }).unwrap();
            println!(
                "{parts:5} {:8} {:5} {:8} {:8.3} {:8.2} {:8.2} {:7.1}",
                problem.suspects.len(),
                problem.steps.len(),
                answer.states,
                start.elapsed().as_secs_f64(),
                answer.lower,
                answer.upper,
                100.0 * answer.gap() / answer.upper
            );
        }
    }
}

criterion_group!(benches, reference, machine_like);
criterion_main!(benches);
