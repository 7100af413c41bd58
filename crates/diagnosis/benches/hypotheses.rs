//! A posterior from scratch on machines of growing size: a service test of twelve steps, a complaint and a reading.
//! Prints what `docs/performance-diagnosis.md` shows.
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use diagnosis::hypotheses::{Ceiling, Fault, Hypothesis, Item, Limits, Part, Posterior, Prior, posterior};

/// What each fault mode makes of each item: 0 as if sound, else one of three other readings. Of several faults the one
/// with the highest number is seen, as a broken supply hides what lies behind it.
struct Machine {
    prior: Prior,
    reads: Vec<Vec<(Fault, u8)>>,
    measured: Vec<u8>,
}

const AGREES: f64 = 0.97;
const SLIP: f64 = 0.01;

impl Machine {
    /// Every tenth part (board, lock, supply) changes half of the items, the others one to three.
    fn new(parts: usize, seed: u64) -> Self {
        let mut state = seed;
        let mut random = move |below: usize| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize % below
        };
        let items = 14;
        let mut reads = vec![Vec::new(); items];
        let mut modes = Vec::new();
        for part in 0..parts {
            modes.push(Part { modes: (0..2).map(|_| 0.0004 * (1 + random(7)) as f64).collect() });
            for mode in 0..2 {
                let changed = if part % 10 == 0 { items / 2 } else { 1 + random(3) };
                for _ in 0..changed {
                    let item = random(items);
                    if reads[item].iter().all(|r: &(Fault, u8)| r.0 != Fault { part, mode }) {
                        reads[item].push((Fault { part, mode }, 1 + random(3) as u8));
                    }
                }
            }
        }
        let truth = Fault { part: 3, mode: 1 };
        let mut machine = Self { prior: Prior::new(&modes, vec![]).unwrap(), reads, measured: Vec::new() };
        machine.measured = (0..items).map(|i| machine.read(i, &Hypothesis { faults: vec![truth] })).collect();
        machine
    }

    fn read(&self, item: usize, hypothesis: &Hypothesis) -> u8 {
        let seen = self.reads[item].iter().filter(|r| hypothesis.faults.contains(&r.0));
        seen.map(|r| r.1).max().unwrap_or(0)
    }

    fn ln_likelihood(&self, item: usize, hypothesis: &Hypothesis) -> f64 {
        if self.read(item, hypothesis) == self.measured[item] { AGREES.ln() } else { SLIP.ln() }
    }

    fn item_by_item(&self) -> Posterior {
        let items: Vec<Item> =
            self.reads.iter().map(|r| Item::new(r.iter().map(|r| r.0), AGREES.ln())).collect();
        posterior(&self.prior, |i, h| self.ln_likelihood(i, h), &items, &Limits::default()).unwrap()
    }

    /// As one item with a ceiling for each step, as when a trace's steps cannot be told apart for sure.
    fn as_one_item(&self) -> Posterior {
        let alone = |i: usize, f: Fault| (f, self.ln_likelihood(i, &Hypothesis { faults: vec![f] }));
        let ceiling = |i: usize| Ceiling {
            without: self.ln_likelihood(i, &Hypothesis::default()),
            alone: self.reads[i].iter().map(|r| alone(i, r.0)).collect(),
            together: AGREES.ln(),
            beyond: f64::INFINITY,
        };
        let item = Item { ceilings: (0..self.reads.len()).map(ceiling).collect() };
        let all = |_, h: &Hypothesis| (0..self.reads.len()).map(|i| self.ln_likelihood(i, h)).sum();
        posterior(&self.prior, all, &[item], &Limits::default()).unwrap()
    }
}

/// A name, and how the evidence is given.
type Way = (&'static str, fn(&Machine) -> Posterior);

fn growth(c: &mut Criterion) {
    println!("parts modes evidence    likelihoods listed left out milliseconds (mean of 10 machines)");
    let ways: [Way; 2] = [("items", Machine::item_by_item), ("one item", Machine::as_one_item)];
    for parts in [10, 20, 40, 80] {
        for (name, ask) in ways {
            let (mut likelihoods, mut listed, mut worst, mut seconds) = (0, 0, 0.0_f64, 0.0);
            for seed in 0..10 {
                let machine = Machine::new(parts, seed);
                let start = Instant::now();
                let answer = ask(&machine);
                seconds += start.elapsed().as_secs_f64();
                likelihoods += answer.likelihoods;
                listed += answer.hypotheses.len();
                worst = worst.max(answer.left_out);
            }
            println!(
                "{parts:5} {:5} {name:10} {:12} {:6} {worst:8.1e} {:8.2}",
                2 * parts,
                likelihoods / 10,
                listed / 10,
                100.0 * seconds
            );
        }
        let machine = Machine::new(parts, 1);
        c.bench_function(&format!("posterior/{parts}"), |b| b.iter(|| black_box(&machine).item_by_item()));
    }
}

criterion_group!(benches, growth);
criterion_main!(benches);
