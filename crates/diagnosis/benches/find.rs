//! What a whole diagnosis costs, how that grows with parts and with the recording, and what one more reading costs.
//!
//! `cargo bench -p diagnosis --bench find`; with `-- whole`, `-- parts` or `-- minutes`, only these. A whole answer is timed by the
//! clock, since a second thread works beside; its parts that have one thread, by the time on a core. The names say what was left out. Figures: docs/performance-diagnosis.md.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

#[path = "../../bench/tests/support/larger.rs"]
mod larger;
#[path = "../tests/made/mod.rs"]
mod made;

use bench::{Conditions, Sweep};
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, Criterion, criterion_group, criterion_main};
use diagnosis::Find;
use diagnosis::evidence::{Entry, Evidence, Listener, Recording};
use diagnosis::setup::Setup;
use larger::{core_time, with_further_valves};
use machine::model::Machine;
use std::hint::black_box;
use std::time::Duration;

/// As in the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// The element is open, and the service test was recorded for so many minutes, once a second.
fn recording(machine: &Machine, minutes: usize) -> Recording {
    let faults = made::faults(machine, &["element=open"]);
    let mut sweep = Sweep::new(machine, &Conditions::at(231.0));
    let ids = sweep.predict(&faults);
    let mut maker = made::whole_test(&sweep, &ids, 1.01, &[], 7);
    let rest = (minutes * 60).saturating_sub(maker.samples.len());
    maker.hold(0.0, rest);
    let mut recording = maker.recording();
    recording.samples.truncate(minutes * 60);
    recording
}

fn told(machine: &Machine, readings: &[&str]) -> Vec<Entry> {
    let listener = Listener::new(machine);
    let clues = readings.iter().flat_map(|r| Entry::of_one(listener.reading(r).unwrap(), r, None, None));
    clues.collect()
}

fn evidence(machine: &Machine, trace: Option<Recording>) -> Evidence {
    let listener = Listener::new(machine);
    let complaint = listener.complaint("washes cold").unwrap();
    let mut entries = Entry::of_one(vec![complaint], "washes cold", None, None);
    if trace.is_none() {
        entries.extend(told(machine, &["step half-spin: 149 W", "step warm: 30 W", "step empty: 38 W"]));
    }
    Evidence { entries, trace, ..Evidence::default() }
}

fn whole(group: &mut BenchmarkGroup<'_, WallTime>, name: &str, machine: &Machine, evidence: &Evidence) {
    let setup = Setup::default();
    let left_out = Find::new(machine, evidence, &setup).unwrap().beliefs(evidence).unwrap().left_out;
    group.bench_function(format!("{name}, left out {left_out:.0e}"), |b| {
        b.iter(|| {
            let mut find = Find::new(machine, black_box(evidence), &setup).unwrap();
            find.finding(evidence).unwrap()
        });
    });
}

/// What of it is not the planner's: suspects and verdicts need no more.
fn believed(group: &mut BenchmarkGroup<'_, WallTime>, name: &str, machine: &Machine, evidence: &Evidence) {
    let setup = Setup::default();
    group.bench_function(name, |b| {
        b.iter(|| {
            let mut find = Find::new(machine, black_box(evidence), &setup).unwrap();
            find.beliefs(evidence).unwrap()
        });
    });
}

/// The whole answer on the largest shipped machine, and its parts.
fn parts_of_it(c: &mut Criterion) {
    let machine = with_further_valves(0);
    let setup = Setup::default();
    let mut group = c.benchmark_group("whole");
    group.sample_size(10).measurement_time(Duration::from_secs(3));
    let recorded = evidence(&machine, Some(recording(&machine, 10)));
    let typed = evidence(&machine, None);
    whole(&mut group, "find, ten minutes recorded", &machine, &recorded);
    whole(&mut group, "find, three steps typed", &machine, &typed);
    for (name, evidence) in [("recorded", &recorded), ("typed", &typed)] {
        believed(&mut group, &format!("find without the planner, {name}"), &machine, evidence);
        group.bench_function(format!("one more reading, {name}"), |b| {
            let more = told(&machine, &["element.1 element.2 off element.1 = 26R4"]);
            b.iter_custom(|times| {
                let mut spent = Duration::ZERO;
                for _ in 0..times {
                    let mut find = Find::new(&machine, evidence, &setup).unwrap();
                    find.beliefs(evidence).unwrap();
                    let mut evidence = evidence.clone();
                    evidence.entries.extend(more.clone());
                    let start = core_time();
                    black_box(find.would_believe(black_box(&evidence)).unwrap());
                    spent += core_time().saturating_sub(start);
                }
                spent
            });
        });
        group.bench_function(format!("the next check, {name}"), |b| {
            let mut find = Find::new(&machine, evidence, &setup).unwrap();
            let beliefs = find.beliefs(evidence).unwrap();
            b.iter_custom(|times| {
                let start = core_time();
                for _ in 0..times {
                    black_box(find.next_checks(evidence, black_box(&beliefs)).unwrap());
                }
                core_time().saturating_sub(start)
            });
        });
    }
}

/// With parts: the largest shipped machine with more and more valves.
fn parts(c: &mut Criterion) {
    let mut group = c.benchmark_group("parts");
    group.sample_size(10).measurement_time(Duration::from_secs(3));
    for machine in [0, 4, 16, 32].map(with_further_valves) {
        let count = machine.parts.iter().filter(|p| p.ends.is_none()).count();
        whole(&mut group, &format!("{count} parts"), &machine, &evidence(&machine, None));
    }
}

/// With the length of the recording.
fn minutes(c: &mut Criterion) {
    let machine = with_further_valves(0);
    let mut group = c.benchmark_group("minutes");
    group.sample_size(10).measurement_time(Duration::from_secs(3));
    for minutes in [10, 30, 60] {
        let evidence = evidence(&machine, Some(recording(&machine, minutes)));
        whole(&mut group, &format!("{minutes} min"), &machine, &evidence);
    }
}

criterion_group!(benches, parts_of_it, parts, minutes);
criterion_main!(benches);
