//! Plain recordings made from predictions: levels, noise, a drum's turns, pauses. For tests of the alignment alone; a
//! machine that behaves is the simulator's.
#![allow(dead_code, unreachable_pub, reason = "each test takes from it what it needs")]

use bench::{Hypothesis, Prediction, PredictionId, Sweep};
use diagnosis::evidence::Recording;
use machine::model::Machine;
use trace::Sample;

pub fn machine(file: &str) -> Machine {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../machines").join(file);
    machine::read::read(&std::fs::read_to_string(path).unwrap(), None).machine.unwrap()
}

/// A recording that grows sample by sample, once a second.
#[derive(Clone)]
pub struct Maker {
    pub samples: Vec<Sample>,
    /// Step and when it ran, s.
    pub truth: Vec<(usize, f64, f64)>,
    seed: u64,
    /// Loads beside the machine: from, to (s), W.
    pub beside: Vec<(f64, f64, f64)>,
}

impl Maker {
    pub fn new(seed: u64) -> Maker {
        Maker { samples: Vec::new(), truth: Vec::new(), seed, beside: Vec::new() }
    }

    pub fn now_s(&self) -> f64 {
        self.samples.len() as f64
    }

    /// Even between −1 and 1 (the generator of Knuth's MMIX).
    fn noise(&mut self) -> f64 {
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.seed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }

    pub fn hold(&mut self, watts: f64, seconds: usize) {
        for _ in 0..seconds {
            let now = self.now_s();
            let beside: f64 = self.beside.iter().filter(|b| (b.0..b.1).contains(&now)).map(|b| b.2).sum();
            let level = watts + beside;
            let shown = level + self.noise() * (0.2 + 0.003 * level);
            self.samples.push(Sample::new(now, (shown * 10.0).round() / 10.0));
        }
    }

    /// A step as predicted, its power off by a factor; `rest_w` is what is drawn between a drum's turns.
    pub fn step(&mut self, place: usize, p: &Prediction, off: f64, seconds: usize, rest_w: f64) {
        let start = self.now_s();
        match p.directions_w {
            Some(ways) => {
                let mut left = seconds;
                for turn in 0.. {
                    let on = left.min(9);
                    self.hold(ways[turn % 2].value * off, on);
                    left -= on;
                    let rest = left.min(4);
                    self.hold(rest_w * off, rest);
                    left -= rest;
                    if left == 0 {
                        break;
                    }
                }
            }
            None => self.hold(p.power_w.value * off, seconds),
        }
        self.truth.push((place, start, self.now_s()));
    }

    pub fn recording(&self) -> Recording {
        Recording { name: "made".to_owned(), samples: self.samples.clone(), ..Recording::default() }
    }
}

/// Hypothesis from texts such as `pump=jammed`.
pub fn faults(machine: &Machine, texts: &[&str]) -> Hypothesis {
    Hypothesis::parse(machine, texts).unwrap()
}

/// A whole test, each step for its predicted time; steps in `skipped` are left out.
pub fn whole_test(sweep: &Sweep<'_>, ids: &[PredictionId], off: f64, skipped: &[usize], seed: u64) -> Maker {
    let mut maker = Maker::new(seed);
    run_through(&mut maker, sweep, ids, off, skipped);
    maker
}

/// Adds a whole test to a recording.
pub fn run_through(maker: &mut Maker, sweep: &Sweep<'_>, ids: &[PredictionId], off: f64, skipped: &[usize]) {
    maker.hold(0.0, 8);
    let idle = sweep.get(ids[0]).power_w.value;
    maker.hold(idle, 12);
    for (place, &id) in ids.iter().enumerate() {
        let p = sweep.get(id);
        if !skipped.contains(&place) {
            // Heater and motor together: the drum's share is what a step of the same drum draws.
            let rest = if p.power_w.value > 500.0 { p.power_w.value - 20.0 } else { 9.0 };
            maker.step(place, p, off, (p.lasts_s.round() as usize).max(1), rest);
            if place % 3 == 2 {
                maker.hold(idle, 2);
            }
        }
    }
    maker.hold(idle, 10);
    maker.hold(0.0, 10);
}
