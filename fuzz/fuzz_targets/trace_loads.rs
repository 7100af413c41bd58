//! Any series, cut and searched for loads: no panic, cuts and states without holes, finite numbers, and streaming gives
//! what the batch form gives.
//!
//! `cargo +nightly fuzz run trace_loads fuzz/corpus/trace_loads fuzz/seeds/trace_loads -- -max_len=4096 -timeout=20`
#![no_main]

use libfuzzer_sys::fuzz_target;
use trace::cut::{Charge, cut, cut_ramps};
use trace::loads::{Change, Stream, loads, runs};

/// Most rows made of one input.
const MOST: usize = 1000;
const ODD: [f64; 8] =
    [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN_POSITIVE, -1e300, 1e12, -0.0];

/// Four bytes a row or a stretch of rows: what, step of time, two of power.
fn rows(bytes: &[u8]) -> (Vec<f64>, Vec<f64>) {
    let (mut time_s, mut power_w, mut at, mut last) = (Vec::new(), Vec::new(), 0.0, 0.0);
    for b in bytes.chunks_exact(4) {
        let step = f64::from(b[1]) / 8.0;
        let (again, odd) = (usize::from(b[2]), ODD[usize::from(b[3] % 8)]);
        let watts = f64::from(u16::from_be_bytes([b[2], b[3]])) / 16.0;
        let (count, step, power) = match b[0] % 8 {
            0..4 => (1, step, watts),
            4 => (again, step, last),
            5 => (1, step, odd),
            6 => (1, odd, watts),
            _ => (1, -step, watts),
        };
        for k in 0..count {
            at += step;
            time_s.push(at);
            power_w.push(if count > 1 { power + (k % 3) as f64 } else { power });
        }
        if !at.is_finite() {
            at = 0.0;
        }
        last = power;
        if time_s.len() > MOST {
            break;
        }
    }
    (time_s, power_w)
}

fuzz_target!(|bytes: &[u8]| {
    let (time_s, power_w) = rows(bytes);
    let charge = Charge::of(&power_w);
    for charge in [charge, Charge::least_squares(charge.penalty), Charge { penalty: f64::NAN, cap: -1.0 }] {
        let levels = cut(&power_w, charge);
        assert_eq!(levels.ends.last().copied().unwrap_or(0), power_w.len());
        assert!(levels.ends.is_sorted() && levels.cost >= 0.0);
        let ramps = cut_ramps(&time_s, &power_w, charge, charge.penalty);
        assert!(ramps.segments.windows(2).all(|w| w[0].end == w[1].start));
        assert_eq!(ramps.segments.last().map_or(0, |s| s.end), power_w.len());
    }
    let found = loads(&time_s, &power_w, Some(230.0));
    assert!(found.states.windows(2).all(|w| w[0].end_s == w[1].start_s));
    for spin in found.interim_spins.iter().chain(&found.spins) {
        assert!(spin.start_s <= spin.end_s && spin.peak_w.is_finite(), "{spin:?}");
    }
    for on in &found.heater_on {
        assert!(on.start_s <= on.end_s && on.power_w.is_finite(), "{on:?}");
    }
    let finite = time_s.iter().zip(&power_w).filter(|(t, p)| t.is_finite() && p.is_finite());
    let (time_s, power_w): (Vec<f64>, Vec<f64>) = finite.unzip();
    let mut stream = Stream::new(None);
    let mut streamed = Vec::new();
    for (&t, &p) in time_s.iter().zip(&power_w) {
        if let Some(Change::Ended(run)) = stream.push(t, p) {
            streamed.push(*run);
        }
    }
    streamed.extend(stream.finish());
    assert_eq!(streamed, runs(&time_s, &power_w, None));
});
