//! Best-first generation against its slow twin, which sums over every combination of fault modes, one by one.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use std::collections::BTreeMap;

use diagnosis::hypotheses::{
    Ceiling, Consequence, Fault, HypothesesError, Hypothesis, Item, Limits, Part, Posterior, Prior,
    posterior, posterior_at_once,
};
use proptest::prelude::*;

const ALL: Limits = Limits { left_out: 0.0, likelihoods: usize::MAX, sets: usize::MAX };

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
    /// ln of some probability between 0.02 and 0.98 that depends on the states of two parts only; of two faults no more than
    /// [`Reading::beyond`] above the better of them alone.
    fn ln_likelihood(&self, hypothesis: &Hypothesis) -> f64 {
        let mode = |part| hypothesis.faults.iter().find(|f| f.part == part).map(|f| f.mode);
        let (a, b) = (mode(self.parts.0), mode(self.parts.1));
        match (a, b) {
            (Some(_), Some(_)) if self.parts.0 != self.parts.1 => {
                self.ln(a, b).min(self.ln(a, None).max(self.ln(None, b)) + self.beyond())
            }
            _ => self.ln(a, b),
        }
    }

    fn ln(&self, a: Option<usize>, b: Option<usize>) -> f64 {
        let state = |mode: Option<usize>| mode.map_or(0, |mode| mode as u64 + 1);
        let mut random = Random(self.seed ^ state(a) << 8 ^ state(b));
        (0.02 + 0.96 * random.unit()).ln()
    }

    fn beyond(&self) -> f64 {
        [f64::INFINITY, 0.0, 0.5][(self.seed % 3) as usize]
    }
}

impl Machine {
    fn faults(&self, parts: &[usize]) -> Vec<Fault> {
        let modes = |&part: &usize| (0..self.parts[part].modes.len()).map(move |mode| Fault { part, mode });
        parts.iter().flat_map(modes).collect()
    }

    /// Each reading by itself: with the parts it does not look at, nothing changes.
    fn items(&self) -> Vec<Item> {
        let item = |r: &Reading| {
            Item::new(self.faults(&[r.parts.0, r.parts.1]), 0.98_f64.ln()).beyond_alone(r.beyond())
        };
        self.readings.iter().map(item).collect()
    }

    /// All readings as one item with a ceiling for each, as a trace would be.
    fn one_item(&self) -> Item {
        let ceiling = |r: &Reading| Ceiling {
            without: r.ln_likelihood(&Hypothesis::default()),
            alone: self
                .faults(&[r.parts.0, r.parts.1])
                .into_iter()
                .map(|f| (f, r.ln_likelihood(&Hypothesis { faults: vec![f] })))
                .collect(),
            together: 0.98_f64.ln(),
            beyond: r.beyond(),
        };
        Item { ceilings: self.readings.iter().map(ceiling).collect() }
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
    posterior(&prior, |item, h| machine.readings[item].ln_likelihood(h), &machine.items(), limits).unwrap()
}

fn ask_as_one(machine: &Machine, limits: &Limits) -> Posterior {
    let prior = Prior::new(&machine.parts, machine.consequences.clone()).unwrap();
    let likelihood = |_, h: &Hypothesis| machine.readings.iter().map(|r| r.ln_likelihood(h)).sum();
    posterior(&prior, likelihood, &[machine.one_item()], limits).unwrap()
}

/// What the long way gives for the faults that an answer tells apart.
fn told_apart(long: &BTreeMap<Hypothesis, f64>, answer: &Posterior) -> BTreeMap<Hypothesis, f64> {
    let aside: Vec<Fault> = answer.aside.iter().map(|a| a.0).collect();
    let mut sums = BTreeMap::new();
    for (hypothesis, p) in long {
        let faults = hypothesis.faults.iter().copied().filter(|f| !aside.contains(f)).collect();
        *sums.entry(Hypothesis { faults }).or_insert(0.0) += p;
    }
    sums
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
    let mut aside = 0;
    for seed in 0..300 {
        let machine = machine(seed, 6);
        let long = long_way(&machine);
        for short in [ask(&machine, &ALL), ask_as_one(&machine, &ALL)] {
            assert_eq!(short.left_out, 0.0, "seed {seed}");
            aside += short.aside.len();
            let listed: BTreeMap<_, _> = short.hypotheses.iter().cloned().collect();
            assert_eq!(listed.len(), short.hypotheses.len(), "seed {seed}: a hypothesis is listed twice");
            for (hypothesis, expected) in told_apart(&long, &short) {
                let got = listed.get(&hypothesis).copied().unwrap_or(0.0);
                assert!(
                    (got - expected).abs() <= 1e-12,
                    "seed {seed}: {hypothesis:?} {got}, expected {expected}"
                );
            }
            // With the faults that were set aside, each by itself and none at all.
            assert!((short.healthy() - long[&Hypothesis::default()]).abs() <= 1e-12, "seed {seed}");
            for (fault, got) in short.faults() {
                let expected: f64 = long.iter().filter(|(h, _)| h.faults.contains(&fault)).map(|l| l.1).sum();
                assert!((got - expected).abs() <= 1e-12, "seed {seed}: {fault:?} {got}, expected {expected}");
            }
        }
    }
    assert!(aside > 100, "hardly a fault was set aside: {aside}");
}

/// Searches that their limit ends leave out little more for having asked for many at a time.
#[test]
fn what_is_gathered_is_asked_for_before_a_limit_ends_the_search() {
    let (mut many, mut one) = (0.0, 0.0);
    for seed in 0..200 {
        let machine = machine(seed, 8);
        let prior = Prior::new(&machine.parts, machine.consequences.clone()).unwrap();
        let limits = Limits { sets: 40 + 2 * seed as usize, ..ALL };
        let likelihoods = |asked: &[(usize, Hypothesis)]| {
            asked.iter().map(|(item, h)| machine.readings[*item].ln_likelihood(h)).collect()
        };
        many += posterior_at_once(&prior, likelihoods, &machine.items(), &limits, 4096).unwrap().left_out;
        one += ask(&machine, &limits).left_out;
    }
    println!("{many} for {one}");
    assert!(one > 2.0 && many <= 1.2 * one, "{many} for {one}");
}

proptest! {
    /// What is shown never moves by more than the stated bound, and mass and bound are all there is.
    #[test]
    fn a_cut_moves_nothing_by_more_than_its_bound(
        seed in 0_u64..100_000,
        sets in 1_usize..200,
        likelihoods in 0_usize..40,
        left_out in prop::sample::select(vec![0.0, 1e-6, 1e-3, 0.1]),
    ) {
        let machine = machine(seed, 6);
        let limits = Limits { left_out, likelihoods, sets };
        let long = long_way(&machine);
        for cut in [ask(&machine, &limits), ask_as_one(&machine, &limits)] {
            let mass: f64 = cut.hypotheses.iter().map(|h| h.1).sum();
            prop_assert!((mass + cut.left_out - 1.0).abs() < 1e-12);
            let truth = told_apart(&long, &cut);
            for (hypothesis, p) in &cut.hypotheses {
                let truth = truth[hypothesis];
                prop_assert!(*p <= truth + 1e-12 && truth <= p + cut.left_out + 1e-12);
            }
        }
    }

    /// A further part that no evidence speaks of: the others stay as they are, it keeps its prior.
    #[test]
    fn an_irrelevant_part_changes_nothing(seed in 0_u64..100_000, share in 0.001_f64..0.9) {
        let machine = machine(seed, 5);
        let before = ask(&machine, &ALL);
        let mut wider = machine.clone();
        wider.parts.push(Part { modes: vec![share] });
        let after = ask(&wider, &ALL);
        assert_same(&before, &after)?;
        let fault = Fault { part: machine.parts.len(), mode: 0 };
        prop_assert!((after.faults()[&fault] - share).abs() <= 1e-12);
        prop_assert!((after.healthy() - before.healthy() * (1.0 - share)).abs() <= 1e-12);
    }

    #[test]
    fn the_order_of_evidence_does_not_matter(seed in 0_u64..100_000, turn in 1_usize..6) {
        let mut machine = machine(seed, 5);
        let before = ask(&machine, &ALL);
        machine.readings.rotate_left(turn);
        assert_same(&before, &ask(&machine, &ALL))?;
    }

    /// Asked one by one or many at a time: the same, within what is left out.
    #[test]
    fn what_is_asked_at_once_is_believed_as_one_by_one(seed in 0_u64..100_000, at_once in 2_usize..50, few in any::<bool>()) {
        let machine = machine(seed, 6);
        let prior = Prior::new(&machine.parts, machine.consequences.clone()).unwrap();
        let limits = if few { Limits { left_out: 1e-3, ..ALL } } else { ALL };
        let likelihoods = |asked: &[(usize, Hypothesis)]| {
            assert!(asked.len() <= at_once);
            asked.iter().map(|(item, h)| machine.readings[*item].ln_likelihood(h)).collect()
        };
        let many = posterior_at_once(&prior, likelihoods, &machine.items(), &limits, at_once).unwrap();
        let one = ask(&machine, &limits);
        let total = many.left_out + many.hypotheses.iter().map(|h| h.1).sum::<f64>();
        prop_assert!((total - 1.0).abs() <= 1e-12);
        prop_assert!(many.left_out <= limits.left_out);
        let slack = 1e-12 + many.left_out + one.left_out;
        for (fault, p) in one.faults() {
            prop_assert!((p - many.faults().get(&fault).copied().unwrap_or(0.0)).abs() <= slack);
        }
    }

    /// A reading that is equally likely under all hypotheses says nothing.
    #[test]
    fn irrelevant_evidence_changes_nothing(seed in 0_u64..100_000) {
        let machine = machine(seed, 5);
        let prior = Prior::new(&machine.parts, machine.consequences.clone()).unwrap();
        let mut items = machine.items();
        items.push(Item::new([], 0.0));
        items.push(Item::new(machine.faults(&[0, 1]), 0.0));
        let likelihood = |item: usize, h: &Hypothesis| {
            machine.readings.get(item).map_or(0.3_f64.ln(), |r| r.ln_likelihood(h))
        };
        let with = posterior(&prior, likelihood, &items, &ALL).unwrap();
        let without = ask(&machine, &ALL);
        prop_assert!((with.healthy() - without.healthy()).abs() <= 1e-12);
        for (fault, p) in with.faults() {
            prop_assert!((p - without.faults()[&fault]).abs() <= 1e-12);
        }
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
    let says_nothing = Item::new([fault(0), fault(1), fault(2)], 0.0);
    let answer = posterior(&prior, |_, _| 0.0, &[says_nothing], &ALL).unwrap();
    let first: Vec<Vec<usize>> =
        answer.hypotheses.iter().take(4).map(|(h, _)| h.faults.iter().map(|f| f.part).collect()).collect();
    // 0.5 × 0.02 each for the first alone and with what follows, and as much for each of the others.
    assert_eq!(first[0], Vec::<usize>::new());
    assert!(first[1..].contains(&vec![0, 1]) && answer.hypotheses[5].1 < 0.02 * answer.hypotheses[1].1);
}

/// 75 modes in 30 parts: 2^30 sets and more, a bound of 1e-4 of the prior within a few thousand hypotheses.
#[test]
fn a_large_machine_needs_few_hypotheses() {
    let mut random = Random(7);
    let parts: Vec<Part> =
        (0..30).map(|i| Part { modes: (0..2 + i % 2).map(|_| 0.002 * random.unit()).collect() }).collect();
    let prior = Prior::new(&parts, vec![]).unwrap();
    let all = (0..30).flat_map(|part| (0..2 + part % 2).map(move |mode| Fault { part, mode }));
    let limits = Limits { likelihoods: usize::MAX, ..Limits::default() };
    let answer = posterior(&prior, |_, _| 0.0, &[Item::new(all, 0.0)], &limits).unwrap();
    assert!(answer.left_out <= 1e-4);
    assert!(answer.hypotheses.len() < 10_000, "{}", answer.hypotheses.len());
}

#[test]
fn refusals() {
    let one = |modes: Vec<f64>| Prior::new(&[Part { modes }], vec![]);
    assert_eq!(one(vec![0.7, 0.5]).unwrap_err(), HypothesesError::BadPart { part: 0 });
    assert_eq!(one(vec![f64::NAN]).unwrap_err(), HypothesesError::BadPart { part: 0 });
    let prior = one(vec![0.1]).unwrap();
    let item = Item::new([Fault { part: 0, mode: 0 }], 0.0);
    let ask = |items: &[Item], ln: f64| posterior(&prior, |_, _| ln, items, &ALL);
    assert_eq!(ask(std::slice::from_ref(&item), f64::NEG_INFINITY), Err(HypothesesError::NothingFits));
    assert_eq!(ask(std::slice::from_ref(&item), 1.0), Err(HypothesesError::BadLikelihood));
    assert_eq!(ask(std::slice::from_ref(&item), f64::NAN), Err(HypothesesError::BadLikelihood));
    let missing = Item::new([Fault { part: 0, mode: 1 }], 0.0);
    assert_eq!(ask(&[item, missing], 0.0), Err(HypothesesError::BadItem { item: 1 }));
    let endless = Item::new([], f64::INFINITY);
    assert_eq!(ask(&[endless], 0.0), Err(HypothesesError::BadItem { item: 0 }));
}
