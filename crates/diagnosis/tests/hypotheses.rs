//! Best-first generation against its slow twin, which sums over every combination of fault modes, one by one.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use std::collections::BTreeMap;

use diagnosis::hypotheses::{
    Ceiling, Consequence, Fault, HypothesesError, Hypothesis, Limits, Part, Posterior, Prior, posterior,
};
use proptest::prelude::*;

const ALL: Limits = Limits { left_out: 0.0, hypotheses: usize::MAX };

/// A small generated machine: parts, consequences, and readings that each look at two parts.
#[derive(Clone, Debug)]
struct Machine {
    parts: Vec<Part>,
    consequences: Vec<Consequence>,
    readings: Vec<Reading>,
}

#[derive(Clone, Debug)]
struct Reading {
    parts: (usize, usize),
    seed: u64,
}

impl Reading {
    /// ln of some probability between 0.02 and 0.98 that depends on the states of two parts only.
    fn ln_likelihood(&self, hypothesis: &Hypothesis) -> f64 {
        let state = |part| hypothesis.faults.iter().find(|f| f.part == part).map_or(0, |f| f.mode as u64 + 1);
        let mut random = Random(self.seed ^ state(self.parts.0) << 8 ^ state(self.parts.1));
        (0.02 + 0.96 * random.unit()).ln()
    }
}

impl Machine {
    /// What each reading can be at most: with the parts it does not look at, nothing changes.
    fn ceilings(&self) -> Vec<Ceiling> {
        let ceiling = |reading: &Reading| {
            let looked_at = |part: usize| part == reading.parts.0 || part == reading.parts.1;
            let faults = |(part, p): (usize, &Part)| (0..p.modes.len()).map(move |mode| Fault { part, mode });
            Ceiling {
                explained_by: self
                    .parts
                    .iter()
                    .enumerate()
                    .filter(|p| looked_at(p.0))
                    .flat_map(faults)
                    .collect(),
                explained: 0.98_f64.ln(),
                unexplained: reading.ln_likelihood(&Hypothesis::default()),
            }
        };
        self.readings.iter().map(ceiling).collect()
    }
}

/// splitmix64.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ z >> 31
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
}

fn machine(seed: u64, most_parts: usize) -> Machine {
    let mut random = Random(seed);
    let count = 2 + random.below(most_parts - 1);
    let parts: Vec<Part> = (0..count)
        .map(|_| {
            let modes = 1 + random.below(3);
            // Now and then a part that is more likely broken than sound, and a mode that cannot be.
            let scale = if random.below(8) == 0 { 0.9 } else { 0.15 };
            let mode = |random: &mut Random| {
                if random.below(12) == 0 { 0.0 } else { scale * random.unit() / modes as f64 }
            };
            Part { modes: (0..modes).map(|_| mode(&mut random)).collect() }
        })
        .collect();
    let mut consequences = Vec::new();
    for _ in 0..random.below(4) {
        let fault =
            |part: usize, random: &mut Random| Fault { part, mode: random.below(parts[part].modes.len()) };
        let from = random.below(count);
        let to = (from + 1 + random.below(count - 1)) % count;
        let (cause, effect) = (fault(from, &mut random), fault(to, &mut random));
        consequences.push(Consequence { cause, effect, probability: random.unit() });
    }
    let reading = |random: &mut Random| Reading {
        parts: (random.below(count), random.below(count)),
        seed: random.next(),
    };
    let readings = (0..6).map(|_| reading(&mut random)).collect();
    Machine { parts, consequences, readings }
}

fn ask(machine: &Machine, limits: &Limits) -> Posterior {
    let prior = Prior::new(&machine.parts, machine.consequences.clone()).unwrap();
    let likelihood = |h: &Hypothesis| machine.readings.iter().map(|r| r.ln_likelihood(h)).sum();
    posterior(&prior, likelihood, &machine.ceilings(), limits).unwrap()
}

/// Every combination of states, each consequence played out by hand.
fn long_way(machine: &Machine) -> BTreeMap<Hypothesis, f64> {
    let mut all = vec![(Vec::<Fault>::new(), 1.0)];
    for (part, modes) in machine.parts.iter().map(|p| &p.modes).enumerate() {
        let sound = 1.0 - modes.iter().sum::<f64>();
        let mut next = Vec::new();
        for (faults, p) in all {
            next.push((faults.clone(), p * sound));
            for (mode, q) in modes.iter().enumerate() {
                next.push(([faults.clone(), vec![Fault { part, mode }]].concat(), p * q));
            }
        }
        all = next;
    }
    let mut weights = BTreeMap::new();
    for (base, p) in all {
        for pattern in 0..1_u32 << machine.consequences.len() {
            let (mut faults, mut weight) = (base.clone(), p);
            for (i, c) in machine.consequences.iter().enumerate() {
                let strikes = base.contains(&c.cause) && faults.iter().all(|f| f.part != c.effect.part);
                match (strikes, pattern >> i & 1 == 1) {
                    (true, true) => {
                        faults.push(c.effect);
                        weight *= c.probability;
                    }
                    (true, false) => weight *= 1.0 - c.probability,
                    (false, true) => weight = 0.0,
                    (false, false) => {}
                }
            }
            faults.sort_unstable();
            let hypothesis = Hypothesis { faults };
            let likelihood: f64 = machine.readings.iter().map(|r| r.ln_likelihood(&hypothesis)).sum();
            *weights.entry(hypothesis).or_insert(0.0) += weight * likelihood.exp();
        }
    }
    let total: f64 = weights.values().sum();
    for weight in weights.values_mut() {
        *weight /= total;
    }
    weights
}

#[test]
fn posterior_equals_full_enumeration_on_300_machines() {
    for seed in 0..300 {
        let machine = machine(seed, 6);
        let (short, long) = (ask(&machine, &ALL), long_way(&machine));
        assert_eq!(short.left_out, 0.0, "seed {seed}");
        let listed: BTreeMap<_, _> = short.hypotheses.iter().cloned().collect();
        assert_eq!(listed.len(), short.hypotheses.len(), "seed {seed}: a hypothesis is listed twice");
        for (hypothesis, expected) in &long {
            let got = listed.get(hypothesis).copied().unwrap_or(0.0);
            assert!(
                (got - expected).abs() <= 1e-12,
                "seed {seed}: {hypothesis:?} {got}, expected {expected}"
            );
        }
    }
}

#[test]
fn hypotheses_come_in_the_order_of_their_prior() {
    for seed in 0..50 {
        let mut machine = machine(seed, 8);
        machine.consequences.clear();
        let prior = Prior::new(&machine.parts, vec![]).unwrap();
        let weights: Vec<f64> = prior.enumerate().map(|(_, p)| p).collect();
        assert!(weights.windows(2).all(|w| w[1] <= w[0] * (1.0 + 1e-12)), "seed {seed}");
        assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-12, "seed {seed}");
    }
}

proptest! {
    /// What is shown never moves by more than the stated bound, and mass and bound are all there is.
    #[test]
    fn a_cut_moves_nothing_by_more_than_its_bound(seed in 0_u64..100_000, count in 1_usize..60) {
        let machine = machine(seed, 6);
        let cut = ask(&machine, &Limits { left_out: 0.0, hypotheses: count });
        let mass: f64 = cut.hypotheses.iter().map(|h| h.1).sum();
        prop_assert!((mass + cut.left_out - 1.0).abs() < 1e-12);
        let long = long_way(&machine);
        for (hypothesis, p) in &cut.hypotheses {
            let truth = long[hypothesis];
            prop_assert!(*p <= truth + 1e-12 && truth <= p + cut.left_out + 1e-12);
        }
    }

    #[test]
    fn the_order_of_evidence_does_not_matter(seed in 0_u64..100_000, turn in 1_usize..6) {
        let mut machine = machine(seed, 5);
        let before = ask(&machine, &ALL);
        machine.readings.rotate_left(turn);
        assert_same(&before, &ask(&machine, &ALL))?;
    }

    /// A reading that is equally likely under all hypotheses says nothing.
    #[test]
    fn irrelevant_evidence_changes_nothing(seed in 0_u64..100_000) {
        let machine = machine(seed, 5);
        let prior = Prior::new(&machine.parts, machine.consequences.clone()).unwrap();
        let likelihood = |h: &Hypothesis| machine.readings.iter().map(|r| r.ln_likelihood(h)).sum::<f64>();
        let with = posterior(&prior, |h| likelihood(h) + 0.3_f64.ln(), &[], &ALL).unwrap();
        assert_same(&with, &ask(&machine, &ALL))?;
    }

    /// The same machine with its parts in reverse order.
    #[test]
    fn relabelling_the_parts_changes_nothing(seed in 0_u64..100_000) {
        let machine = machine(seed, 5);
        let last = machine.parts.len() - 1;
        let flip = |f: Fault| Fault { part: last - f.part, ..f };
        let mut other = machine.clone();
        other.parts.reverse();
        for c in &mut other.consequences {
            (c.cause, c.effect) = (flip(c.cause), flip(c.effect));
        }
        for r in &mut other.readings {
            r.parts = (last - r.parts.0, last - r.parts.1);
        }
        let mut renamed = ask(&other, &ALL);
        for (hypothesis, _) in &mut renamed.hypotheses {
            hypothesis.faults.iter_mut().for_each(|f| *f = flip(*f));
            hypothesis.faults.sort_unstable();
        }
        assert_same(&renamed, &ask(&machine, &ALL))?;
    }
}

fn assert_same(a: &Posterior, b: &Posterior) -> Result<(), TestCaseError> {
    let listed = |p: &Posterior| p.hypotheses.iter().cloned().collect::<BTreeMap<_, _>>();
    let (a, b) = (listed(a), listed(b));
    prop_assert_eq!(a.len(), b.len());
    for (hypothesis, p) in &a {
        prop_assert!((p - b[hypothesis]).abs() <= 1e-12);
    }
    Ok(())
}

/// Element leaking to earth takes the relay with it in half of all cases: the pair beats the independent one by far.
#[test]
fn a_consequential_pair_comes_before_other_pairs() {
    let parts: Vec<Part> = [0.02, 0.01, 0.01].into_iter().map(|p| Part { modes: vec![p] }).collect();
    let fault = |part| Fault { part, mode: 0 };
    let consequence = Consequence { cause: fault(0), effect: fault(1), probability: 0.5 };
    let prior = Prior::new(&parts, vec![consequence]).unwrap();
    let first: Vec<Vec<usize>> =
        prior.enumerate().take(4).map(|(h, _)| h.faults.iter().map(|f| f.part).collect()).collect();
    assert_eq!(first, [vec![], vec![0], vec![0, 1], vec![1]]);
}

/// 75 modes in 30 parts: 2^30 sets and more, a bound of 1e-4 of the prior within a few thousand hypotheses.
#[test]
fn a_large_machine_needs_few_hypotheses() {
    let mut random = Random(7);
    let parts: Vec<Part> =
        (0..30).map(|i| Part { modes: (0..2 + i % 2).map(|_| 0.002 * random.unit()).collect() }).collect();
    let prior = Prior::new(&parts, vec![]).unwrap();
    let answer = posterior(&prior, |_| 0.0, &[], &Limits::default()).unwrap();
    assert!(answer.left_out <= 1e-4);
    assert!(answer.hypotheses.len() < 10_000, "{}", answer.hypotheses.len());
}

#[test]
fn refusals() {
    let one = |modes: Vec<f64>| Prior::new(&[Part { modes }], vec![]);
    assert_eq!(one(vec![0.7, 0.5]).unwrap_err(), HypothesesError::BadPart { part: 0 });
    assert_eq!(one(vec![f64::NAN]).unwrap_err(), HypothesesError::BadPart { part: 0 });
    let prior = one(vec![0.1]).unwrap();
    let nothing = posterior(&prior, |_| f64::NEG_INFINITY, &[], &ALL);
    assert_eq!(nothing, Err(HypothesesError::NothingFits));
    assert_eq!(posterior(&prior, |_| 1.0, &[], &ALL), Err(HypothesesError::BadLikelihood));
}
