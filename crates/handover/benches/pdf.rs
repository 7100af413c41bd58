#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]
//! Time and size of a record with the picture of an hour's trace: `cargo bench -p handover`.
//!
//! The first document also loads the fonts; the rest are made warm, each of another job, so that nothing set before helps.

#[path = "../tests/common/mod.rs"]
mod common;

use handover::{Form, Paper, Span, pdf, trace_svg};
use std::time::Instant;

const DOCUMENTS: usize = 20;

fn main() {
    let mut times: Vec<f64> = Vec::new();
    let mut largest = 0;
    for at in 0..=DOCUMENTS {
        let mut job = common::job();
        job.reference = format!("2026-{at}");
        job.complaint = format!("Washes cold, call {at}.");
        // One sample a second with wobble, 14 steps.
        let wobble = |t: usize| 20.0 + ((t * 7919 + at * 31) % 97) as f64 * 0.1;
        let samples: Vec<(f64, f64)> =
            (0..3600).map(|t| (t as f64, if t % 900 > 700 { 1850.0 } else { wobble(t) })).collect();
        let spans: Vec<Span> = (0..14)
            .map(|k| f64::from(k) * 250.0)
            .map(|s| Span { name: format!("step-{s}"), start_s: s, end_s: s + 240.0 })
            .collect();
        job.found.trace_svg = trace_svg(&samples, &spans).unwrap();
        job.found.steps = (0..14).map(|_| job.found.steps[0].clone()).collect();
        let start = Instant::now();
        let made = pdf(&job, Form::Full, Paper::A4, &[]).unwrap();
        let ms = start.elapsed().as_secs_f64() * 1e3;
        largest = largest.max(made.bytes.len());
        if at == 0 {
            println!("first, with the fonts to load: {ms:.0} ms, {} pages", made.pages);
        } else {
            times.push(ms);
        }
    }
    times.sort_by(f64::total_cmp);
    println!(
        "warm: median {:.0} ms, longest {:.0} ms; largest file {} kB",
        times[DOCUMENTS / 2],
        times[DOCUMENTS - 1],
        largest / 1000
    );
}
