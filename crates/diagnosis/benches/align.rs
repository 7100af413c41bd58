#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]
//! What alignment costs: with the length of the recording, with the number of hypotheses, and a sample of the live form.

#[path = "../tests/made/mod.rs"]
mod made;

use bench::{Conditions, Hypothesis, PredictionId, Sweep};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use diagnosis::align::{Aligner, Live};
use diagnosis::evidence::Recording;
use machine::model::Machine;
use std::hint::black_box;

/// Healthy, all single faults, then pairs until there are so many.
fn hypotheses(machine: &Machine, count: usize) -> Vec<Hypothesis> {
    let singles: Vec<_> = machine.single_faults().collect();
    let mut all = vec![Hypothesis::healthy()];
    all.extend(singles.iter().map(|&f| Hypothesis::of([f])));
    let pairs = singles.iter().flat_map(|&a| singles.iter().map(move |&b| (a, b))).filter(|(a, b)| a.0 < b.0);
    // Every thirty-first, so that all parts have their turn.
    all.extend(pairs.step_by(31).map(|(a, b)| Hypothesis::of([a, b])));
    all.truncate(count);
    all
}

/// A recording of so many minutes: tests one after the other, cut off or followed by standby.
fn recording(sweep: &Sweep<'_>, ids: &[PredictionId], minutes: usize) -> Recording {
    let mut maker = made::Maker::new(1);
    while maker.samples.len() < minutes.min(12) * 60 {
        made::run_through(&mut maker, sweep, ids, 1.01, &[]);
    }
    maker.hold(0.0, (minutes * 60).saturating_sub(maker.samples.len()));
    let mut recording = maker.recording();
    recording.samples.truncate(minutes * 60);
    recording
}

fn align(c: &mut Criterion) {
    let machine = made::machine("aldermere-tern-81.toml");
    let conditions = Conditions::at(230.0);
    let mut sweep = Sweep::new(&machine, &conditions);
    let all: Vec<Vec<PredictionId>> = hypotheses(&machine, 1000).iter().map(|h| sweep.predict(h)).collect();
    let of = |recording: &Recording, ids: &[Vec<PredictionId>]| {
        let mut aligner = Aligner::new(&machine, recording, &conditions).unwrap();
        ids.iter().map(|ids| aligner.ln_likelihood(ids, &sweep)).fold(f64::NEG_INFINITY, f64::max)
    };
    let mut group = c.benchmark_group("align");
    group.sample_size(20);
    for minutes in [1, 5, 10, 60] {
        let recording = recording(&sweep, &all[0], minutes);
        group.bench_with_input(BenchmarkId::new("cut, minutes", minutes), &recording, |b, r| {
            b.iter(|| Aligner::new(&machine, black_box(r), &conditions).unwrap());
        });
        group.bench_with_input(BenchmarkId::new("300 hypotheses, minutes", minutes), &recording, |b, r| {
            b.iter(|| of(black_box(r), &all[..300]));
        });
    }
    let ten = recording(&sweep, &all[0], 10);
    for count in [1, 100, 300, 1000] {
        let ids = &all[..count];
        group.bench_with_input(BenchmarkId::new("10 minutes, hypotheses", count), ids, |b, ids| {
            b.iter(|| of(&ten, black_box(ids)));
        });
    }
    group.bench_function("ceiling of anything, 10 minutes", |b| {
        b.iter(|| Aligner::new(&machine, black_box(&ten), &conditions).unwrap().ln_ceiling());
    });
    let leading: Vec<(f64, Vec<PredictionId>)> = all.iter().take(20).map(|ids| (0.0, ids.clone())).collect();
    group.bench_function("live, 20 hypotheses, 600 samples", |b| {
        b.iter(|| {
            let mut live = Live::new(&machine, &conditions, &leading, &sweep).unwrap();
            ten.samples.iter().map(|&s| live.push(s).before).sum::<f64>()
        });
    });
    group.finish();
}

criterion_group!(benches, align);
criterion_main!(benches);
