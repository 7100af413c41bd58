//! A posterior from scratch on machines of growing size, to 1e-4 of left-out mass, with evidence that one part failed.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use diagnosis::hypotheses::{Hypothesis, Limits, Part, Prior, posterior};

fn growth(c: &mut Criterion) {
    for parts in [10, 20, 40, 80] {
        // Modes a few per mille each, as a year's failure rates are.
        let mode = |i: usize| 0.0005 * (1 + i % 7) as f64;
        let machine: Vec<Part> = (0..parts).map(|p| Part { modes: vec![mode(p), mode(p + 3)] }).collect();
        let prior = Prior::new(&machine, vec![]).unwrap();
        // Each of six readings is explained by one mode in four.
        let likelihood = |h: &Hypothesis| {
            let explains = |r: usize| h.faults.iter().any(|f| (f.part * 2 + f.mode + r).is_multiple_of(4));
            (0..6).map(|r| if explains(r) { 0.97_f64.ln() } else { 0.1_f64.ln() }).sum()
        };
        let answer = posterior(&prior, likelihood, 0.0, &Limits::default()).unwrap();
        println!("{parts} parts: {} hypotheses, {:.1e} left out", answer.hypotheses.len(), answer.left_out);
        c.bench_function(&format!("posterior/{parts}"), |b| {
            b.iter(|| posterior(black_box(&prior), likelihood, 0.0, &Limits::default()).unwrap());
        });
    }
}

criterion_group!(benches, growth);
criterion_main!(benches);
