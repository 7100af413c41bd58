//! A posterior from scratch on machines of growing size, to 1e-4 of left-out mass, with evidence that one part failed.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use diagnosis::hypotheses::{Ceiling, Fault, Hypothesis, Limits, Part, Prior, posterior};

fn growth(c: &mut Criterion) {
    for parts in [10, 20, 40, 80] {
        // Modes a few per mille each, as a year's failure rates are.
        let mode = |i: usize| 0.0005 * (1 + i % 7) as f64;
        let machine: Vec<Part> = (0..parts).map(|p| Part { modes: vec![mode(p), mode(p + 3)] }).collect();
        let prior = Prior::new(&machine, vec![]).unwrap();
        // Six readings, which the modes of two parts explain.
        let explains = |f: &Fault| f.part == 3 || f.part == 7;
        let likelihood = |h: &Hypothesis| {
            let ln = if h.faults.iter().any(explains) { 0.97_f64.ln() } else { 0.02_f64.ln() };
            6.0 * ln
        };
        let explained_by: Vec<Fault> =
            [3, 7].iter().flat_map(|&part| (0..2).map(move |mode| Fault { part, mode })).collect();
        let ceiling = Ceiling { explained_by, explained: 0.97_f64.ln(), unexplained: 0.02_f64.ln() };
        let ceilings = vec![ceiling; 6];
        let answer = posterior(&prior, likelihood, &ceilings, &Limits::default()).unwrap();
        println!("{parts} parts: {} hypotheses, {:.1e} left out", answer.hypotheses.len(), answer.left_out);
        c.bench_function(&format!("posterior/{parts}"), |b| {
            b.iter(|| posterior(black_box(&prior), likelihood, &ceilings, &Limits::default()).unwrap());
        });
    }
}

criterion_group!(benches, growth);
criterion_main!(benches);
