#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]
//! Speed of the cut beside ruptures in one run, and of loads in batch and streaming form on real recordings; all in
//! processor time.
//!
//! `RUPTURES_PYTHON=/path/to/venv/bin/python cargo bench -p trace --bench cut`; without the variable only ours is timed.

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Instant;

use trace::cut::{Charge, cut, cut_ramps};
use trace::loads::{Stream, runs};

/// All labelled recordings one after the other, half an hour of quiet between them.
fn recordings() -> (Vec<f64>, Vec<f64>) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tracebase");
    let mut names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    names.retain(|p| p.extension().is_some_and(|e| e == "csv"));
    names.sort();
    let (mut time_s, mut power_w, mut at) = (Vec::new(), Vec::new(), 0.0);
    for path in names {
        for line in std::fs::read_to_string(path).unwrap().lines().skip(1) {
            let (t, p) = line.split_once(',').unwrap();
            time_s.push(at + t.parse::<f64>().unwrap());
            power_w.push(p.parse::<f64>().unwrap());
        }
        at = time_s.last().unwrap() + 1800.0;
    }
    (time_s, power_w)
}

/// Seconds of processor time of this thread, so that a busy machine does not count; elsewhere than on Linux, of the clock.
fn cpu_s(begun: Instant) -> f64 {
    let spent = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = spent.and_then(|s| s.split(' ').next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(|| begun.elapsed().as_secs_f64(), |ns| ns * 1e-9)
}

/// Mean time of a piece of work, done until it has taken a quarter of a second: the count of processor time is coarse.
fn mean_s<T>(mut work: impl FnMut() -> T) -> f64 {
    let start = Instant::now();
    let begun = cpu_s(start);
    let mut times = 0;
    while cpu_s(start) - begun < 0.25 {
        std::hint::black_box(work());
        times += 1;
    }
    (cpu_s(start) - begun) / f64::from(times)
}

fn ruptures(python: &str, series: &[f64], penalty: f64, pelt: bool) -> serde_json::Value {
    let script = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/ruptures_time.py");
    let mut child =
        Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    let asked = serde_json::json!({"series": series, "penalty": penalty, "pelt": pelt});
    child.stdin.take().unwrap().write_all(asked.to_string().as_bytes()).unwrap();
    serde_json::from_slice(&child.wait_with_output().unwrap().stdout).unwrap()
}

fn main() {
    let (time_s, power_w) = recordings();
    let python = std::env::var("RUPTURES_PYTHON").ok();
    for n in [1_000, 10_000, 100_000] {
        let series: Vec<f64> = power_w.iter().copied().cycle().take(n).collect();
        let charge = Charge::least_squares(Charge::of(&series).penalty.max(100.0));
        let ours = mean_s(|| cut(&series, charge));
        let capped = mean_s(|| cut(&series, Charge::of(&series)));
        let at: Vec<f64> = (0..n).map(|i| i as f64).collect();
        let ramped = mean_s(|| cut_ramps(&at, &series, Charge::of(&series), Charge::of(&series).penalty));
        print!(
            "cut of {n}: {:.2} ms, capped {:.2} ms, capped with ramps {:.2} ms",
            ours * 1e3,
            capped * 1e3,
            ramped * 1e3
        );
        if let Some(python) = &python {
            let theirs = ruptures(python, &series, charge.penalty, n <= 1_000);
            for (name, seconds) in theirs.as_object().unwrap() {
                let seconds = seconds.as_f64().unwrap();
                print!("; ruptures {name} {:.1} ms, {:.0} times ours", seconds * 1e3, seconds / ours);
            }
        }
        println!();
    }
    // A year of one row a second.
    let year = 31_500_000;
    let start = Instant::now();
    let begun = cpu_s(start);
    let (mut stream, mut seen, mut ended, mut shift) = (Stream::new(None), 0, 0, 0.0);
    while seen < year {
        for (&t, &p) in time_s.iter().zip(&power_w) {
            ended += usize::from(matches!(stream.push(t + shift, p), Some(trace::loads::Change::Ended(_))));
        }
        seen += time_s.len();
        shift += time_s.last().unwrap() + 1800.0;
    }
    let rate = |seconds: f64, n: usize| n as f64 / seconds / 1e6;
    println!("stream: {:.2} M samples/s over {seen} samples, {ended} runs", rate(cpu_s(start) - begun, seen));
    println!("batch: {:.2} M samples/s", rate(mean_s(|| runs(&time_s, &power_w, None)), time_s.len()));
}
