#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]
//! What a hundred sockets at ten samples a second cost: `cargo bench -p trace --bench live`.
//!
//! Every socket has an [`Analyser`] with volts (which reads each run as it ends) and a [`Live`], fed in turn as samples
//! arrive. The recordings are the labelled ones, each row held until the next, with 0.2 W of wobble.

use std::time::Instant;
use trace::Sample;
use trace::analysis::Analyser;
use trace::live::Live;
use trace::read::{Options, read};

const SOCKETS: usize = 100;
const PER_SECOND: usize = 10;
const MINUTES: usize = 100;

fn recordings() -> Vec<Vec<(f64, f64)>> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tracebase");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == "csv"));
    paths.sort();
    let samples = |path: &std::path::PathBuf| {
        let (trace, _) = read(std::fs::File::open(path).unwrap(), &Options::default()).unwrap();
        trace.samples.iter().map(|s| (s.time_s, s.power_w)).collect()
    };
    paths.iter().map(samples).collect()
}

/// Ten samples a second of a recording that starts anew when it is over.
fn socket(rows: &[(f64, f64)], first: usize) -> Vec<f64> {
    let long_s = rows.last().unwrap().0 + 1.0;
    (0..MINUTES * 60 * PER_SECOND)
        .map(|k| {
            let at_s = (first + k) as f64 / PER_SECOND as f64 % long_s;
            let row = rows.partition_point(|r| r.0 <= at_s).saturating_sub(1);
            rows[row].1 + 0.1 * (k % 3) as f64
        })
        .collect()
}

/// Seconds of processor time of this thread, so that a busy machine does not count; elsewhere than on Linux, of the clock.
fn cpu_s(begun: Instant) -> f64 {
    let spent = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = spent.and_then(|s| s.split(' ').next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(|| begun.elapsed().as_secs_f64(), |ns| ns * 1e-9)
}

fn main() {
    let recordings = recordings();
    let powers: Vec<Vec<f64>> =
        (0..SOCKETS).map(|s| socket(&recordings[s % recordings.len()], 7919 * s)).collect();
    let mut sockets: Vec<(Analyser, Live)> =
        (0..SOCKETS).map(|_| (Analyser::new(None), Live::default())).collect();
    let (mut events, mut runs, mut longest) = (0, 0, 0.0_f64);
    let start = Instant::now();
    let begun = cpu_s(start);
    for k in 0..MINUTES * 60 * PER_SECOND {
        let time_s = k as f64 / PER_SECOND as f64;
        let tick = Instant::now();
        for ((analyser, live), powers) in sockets.iter_mut().zip(&powers) {
            let power_w = powers[k];
            let sample = Sample { voltage_v: Some(235.0 - 0.002 * power_w), ..Sample::new(time_s, power_w) };
            events += live.push(time_s, power_w).len();
            runs += usize::from(analyser.push(sample).is_some());
            // The page asks once a second.
            if k % PER_SECOND == 0 {
                std::hint::black_box(live.now());
            }
        }
        longest = longest.max(tick.elapsed().as_secs_f64());
    }
    runs += sockets.into_iter().map(|(analyser, _)| analyser.finish().0.runs.len()).sum::<usize>();
    let spent = cpu_s(start) - begun;
    println!(
        "{SOCKETS} sockets, {PER_SECOND} samples a second each, {MINUTES} min: {spent:.2} s, {:.3} % of one core; \
         {events} events, {runs} runs; the longest tick {:.1} ms of {} ms",
        100.0 * spent / (MINUTES * 60) as f64,
        1e3 * longest,
        1000 / PER_SECOND
    );
}
