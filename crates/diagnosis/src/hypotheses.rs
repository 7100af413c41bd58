//! Which parts have failed, and how: hypotheses in the order of their prior, and the posterior over them.
//!
//! Each [`Part`] has fault modes that exclude each other; parts fail independently, save for named [`Consequence`]s.
//! [`Prior::enumerate`] makes sets of faults from the likeliest on (healthy, singles, pairs that go together, pairs,
//! triples …) without ever listing them all, and knows at each point how much prior mass it has not made yet.
//! [`posterior`] weighs them with the evidence and states how much the rest could still matter.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BinaryHeap};
use std::fmt;

/// One part and what can go wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Prior probability of each fault mode; the rest to 1 is of the part being sound.
    pub modes: Vec<f64>,
}

/// One failed part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fault {
    /// Index of the part.
    pub part: usize,
    /// Index of the mode among the part's modes.
    pub mode: usize,
}

/// A fault that brings another with it, such as an element leaking to earth that takes its relay along.
///
/// If `cause` arose by itself and the part of `effect` is still sound, `effect` follows with `probability`.
/// Consequences strike in the order of the list; those of consequences are not followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Consequence {
    /// The fault that arises by itself.
    pub cause: Fault,
    /// The fault that may follow, in another part.
    pub effect: Fault,
    /// Probability, 0 … 1, that it follows.
    pub probability: f64,
}

/// A set of faults, at most one a part, by part; empty: nothing is wrong with the machine.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hypothesis {
    /// The faults, in the order of their parts.
    pub faults: Vec<Fault>,
}

/// Prior over sets of faults.
#[derive(Clone, Debug)]
pub struct Prior {
    /// States of each part that can fail or is never sound, likeliest first; parts by the ratio of their second state.
    parts: Vec<States>,
    /// Probability that every part is in its likeliest state.
    best: f64,
    consequences: Vec<Consequence>,
}

/// One part's states, likeliest first.
#[derive(Clone, Debug)]
struct States {
    /// Each state's fault; None is sound.
    faults: Vec<Option<Fault>>,
    /// Each state's probability as a share of the likeliest one's, falling from 1, none zero.
    ratios: Vec<f64>,
}

/// Why a prior was refused, or a posterior could not be given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HypothesesError {
    /// The modes of a part are not probabilities, or sum to more than 1.
    BadPart {
        /// Index of the part.
        part: usize,
    },
    /// A consequence names a fault that is not there, strikes its own part, or has no probability.
    BadConsequence {
        /// Index of the consequence.
        consequence: usize,
    },
    /// Every hypothesis looked at has likelihood zero, and nothing was left out.
    NothingFits,
    /// A likelihood is not a number, or is above the bound that was promised.
    BadLikelihood,
}

impl fmt::Display for HypothesesError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BadPart { part } => {
                write!(f, "part {part}: give each fault mode a probability, together at most 1")
            }
            Self::BadConsequence { consequence } => {
                write!(
                    f,
                    "consequence {consequence}: name two faults of different parts and a probability from 0 to 1"
                )
            }
            Self::NothingFits => f.write_str("no set of faults fits this evidence; take the readings again"),
            Self::BadLikelihood => f.write_str("a likelihood is not a number or above its stated bound"),
        }
    }
}

impl std::error::Error for HypothesesError {}

impl Prior {
    /// A prior over the faults of `parts`.
    ///
    /// # Errors
    /// [`HypothesesError::BadPart`] and [`HypothesesError::BadConsequence`].
    pub fn new(parts: &[Part], consequences: Vec<Consequence>) -> Result<Self, HypothesesError> {
        let exists = |f: Fault| parts.get(f.part).is_some_and(|p| f.mode < p.modes.len());
        for (consequence, c) in consequences.iter().enumerate() {
            let sound = (0.0..=1.0).contains(&c.probability);
            if !sound || !exists(c.cause) || !exists(c.effect) || c.cause.part == c.effect.part {
                return Err(HypothesesError::BadConsequence { consequence });
            }
        }
        let mut best = 1.0;
        let mut all = Vec::new();
        for (part, modes) in parts.iter().map(|p| &p.modes).enumerate() {
            let sum: f64 = modes.iter().sum();
            if !modes.iter().all(|p| (0.0..=1.0).contains(p)) || sum > 1.0 + 1e-12 {
                return Err(HypothesesError::BadPart { part });
            }
            let mut states = vec![(None, (1.0 - sum).max(0.0))];
            states.extend(modes.iter().enumerate().map(|(mode, &p)| (Some(Fault { part, mode }), p)));
            states.retain(|s| s.1 > 0.0);
            states.sort_by(|a, b| b.1.total_cmp(&a.1));
            let top = states[0].1;
            best *= top;
            let (faults, ratios) = states.into_iter().map(|(fault, p)| (fault, p / top)).unzip();
            all.push(States { faults, ratios });
        }
        let second = |s: &States| s.ratios.get(1).copied().unwrap_or(0.0);
        all.sort_by(|a, b| second(b).total_cmp(&second(a)));
        Ok(Self { parts: all, best, consequences })
    }

    /// Hypotheses with their prior, from the likeliest on (consequences directly after what caused them).
    ///
    /// A hypothesis comes more than once when it can arise in more than one way; its prior is the sum.
    pub fn enumerate(&self) -> Enumeration<'_> {
        let mut heap = BinaryHeap::new();
        heap.push(Set { ratio: 1.0, moved: Vec::new() });
        Enumeration {
            prior: self,
            heap,
            base: Hypothesis::default(),
            ready: Vec::new(),
            made: Sum::default(),
        }
    }

    /// The faults of a set, and their independent prior.
    fn base(&self, set: &Set) -> (Hypothesis, f64) {
        let mut rank = vec![0; self.parts.len()];
        set.moved.iter().for_each(|&(part, r)| rank[part as usize] = r as usize);
        let faults = self.parts.iter().zip(rank).filter_map(|(states, r)| states.faults[r]);
        let mut faults: Vec<Fault> = faults.collect();
        faults.sort_unstable();
        (Hypothesis { faults }, self.best * set.ratio)
    }

    /// What consequences make of a set of faults that arose by themselves.
    fn follow(&self, base: &Hypothesis, probability: f64) -> Vec<(Hypothesis, f64)> {
        let mut ways = vec![(base.clone(), probability)];
        for c in &self.consequences {
            if c.probability == 0.0 || !base.faults.contains(&c.cause) {
                continue;
            }
            for i in 0..ways.len() {
                let Err(place) = ways[i].0.faults.binary_search_by_key(&c.effect.part, |f| f.part) else {
                    continue;
                };
                let mut struck = ways[i].clone();
                struck.0.faults.insert(place, c.effect);
                struck.1 *= c.probability;
                ways[i].1 *= 1.0 - c.probability;
                ways.push(struck);
            }
        }
        ways.retain(|w| w.1 > 0.0);
        ways
    }
}

/// A set in the making: parts (by place in the order) that are not in their likeliest state, with the state's rank.
#[derive(Clone, Debug, PartialEq)]
struct Set {
    ratio: f64,
    moved: Vec<(u32, u32)>,
}

impl Eq for Set {}

impl PartialOrd for Set {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Set {
    /// The likelier set is greater; among equals the one with fewer, earlier parts, so that two runs agree.
    fn cmp(&self, other: &Self) -> Ordering {
        self.ratio.total_cmp(&other.ratio).then_with(|| other.moved.cmp(&self.moved))
    }
}

/// Iterator of [`Prior::enumerate`].
#[derive(Clone, Debug)]
pub struct Enumeration<'a> {
    prior: &'a Prior,
    heap: BinaryHeap<Set>,
    /// The faults that arose by themselves in what was made last.
    base: Hypothesis,
    ready: Vec<(Hypothesis, f64)>,
    made: Sum,
}

impl Enumeration<'_> {
    /// Prior mass not made yet: never less than the sum of what is still to come. Zero when all is made.
    pub fn left_out(&self) -> f64 {
        if self.is_empty() { 0.0 } else { (1.0 - self.made.total()).max(0.0) + f64::EPSILON }
    }

    fn is_empty(&self) -> bool {
        self.heap.is_empty() && self.ready.is_empty()
    }

    /// The three successors of a set, each less likely and reached in no other way: the last part one state on, a
    /// further part moved, or the next part moved in place of the last.
    fn push_successors(&mut self, set: &Set) {
        let parts = &self.prior.parts;
        let ratio = |part: u32, rank: u32| {
            parts.get(part as usize).and_then(|p| p.ratios.get(rank as usize)).copied().unwrap_or(0.0)
        };
        let Some(&(part, rank)) = set.moved.last() else {
            self.push(&[], 1.0, (0, 1), ratio(0, 1));
            return;
        };
        let front = &set.moved[..set.moved.len() - 1];
        let before = set.ratio / ratio(part, rank);
        self.push(front, before, (part, rank + 1), ratio(part, rank + 1));
        self.push(&set.moved, set.ratio, (part + 1, 1), ratio(part + 1, 1));
        if rank == 1 {
            self.push(front, before, (part + 1, 1), ratio(part + 1, 1));
        }
    }

    fn push(&mut self, front: &[(u32, u32)], ratio: f64, last: (u32, u32), factor: f64) {
        if factor > 0.0 {
            let mut moved = Vec::with_capacity(front.len() + 1);
            moved.extend_from_slice(front);
            moved.push(last);
            self.heap.push(Set { ratio: ratio * factor, moved });
        }
    }
}

impl Iterator for Enumeration<'_> {
    type Item = (Hypothesis, f64);

    fn next(&mut self) -> Option<Self::Item> {
        if self.ready.is_empty() {
            let set = self.heap.pop()?;
            self.push_successors(&set);
            let (base, probability) = self.prior.base(&set);
            self.ready = self.prior.follow(&base, probability);
            self.ready.reverse();
            self.base = base;
        }
        let next = self.ready.pop()?;
        self.made.add(next.1);
        Some(next)
    }
}

/// A sum with its rounding errors kept (Neumaier 1974), so that 1 − sum stays a bound after a million terms.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, x: f64) {
        let next = self.sum + x;
        self.lost += if self.sum.abs() >= x.abs() { (self.sum - next) + x } else { (x - next) + self.sum };
        self.sum = next;
    }

    fn total(self) -> f64 {
        self.sum + self.lost
    }
}

/// What is known beforehand about how likely a reading can be, so that sets of faults need not be made to be bounded.
#[derive(Clone, Debug, PartialEq)]
pub struct Ceiling {
    /// Faults that can make a difference to this reading, alone or together with others.
    pub explained_by: Vec<Fault>,
    /// Logarithm of the greatest likelihood of this reading under any set of faults.
    pub explained: f64,
    /// Logarithm of the greatest likelihood of this reading under any set without one of `explained_by`.
    pub unexplained: f64,
}

/// Most ceilings that tell explained from unexplained; the others count as explained, which is always safe.
const MAX_CEILINGS: usize = 12;

/// Greatest likelihood of every set of faults, and its sum over all of them.
struct Bound {
    /// For each fault the bits of the ceilings that it lifts, by itself or by what follows from it.
    lifts: BTreeMap<Fault, usize>,
    /// Greatest likelihood for each set of lifted ceilings.
    most: Vec<f64>,
    /// `Σ P(h) · most(h)` over all sets that arise by themselves.
    total: f64,
}

impl Bound {
    /// Sums over all sets of faults without listing them: `f[S]`, the probability that exactly the ceilings in `S` are
    /// lifted, is carried from part to part, every term ≥ 0 (the recursion of [`crate::network::TwoLayer`] with
    /// certain links and parts of several states).
    fn new(prior: &Prior, ceilings: &[Ceiling]) -> Self {
        let told = ceilings.len().min(MAX_CEILINGS);
        let mut lifts: BTreeMap<Fault, usize> = BTreeMap::new();
        for (bit, ceiling) in ceilings[..told].iter().enumerate() {
            for &fault in &ceiling.explained_by {
                *lifts.entry(fault).or_insert(0) |= 1 << bit;
            }
        }
        let own = lifts.clone();
        for c in &prior.consequences {
            *lifts.entry(c.cause).or_insert(0) |= own.get(&c.effect).copied().unwrap_or(0);
        }
        let rest: f64 = ceilings[told..].iter().map(|c| c.explained).sum();
        let ceiling = |set: usize, (bit, c): (usize, &Ceiling)| {
            if set >> bit & 1 == 1 { c.explained.max(c.unexplained) } else { c.unexplained }
        };
        let most: Vec<f64> = (0..1_usize << told)
            .map(|set| {
                (rest + ceilings[..told].iter().enumerate().map(|c| ceiling(set, c)).sum::<f64>()).exp()
            })
            .collect();
        let mut f = vec![0.0; most.len()];
        f[0] = prior.best;
        for states in &prior.parts {
            let mut next = vec![0.0; f.len()];
            for (fault, ratio) in states.faults.iter().zip(&states.ratios) {
                let lifted = fault.and_then(|f| lifts.get(&f).copied()).unwrap_or(0);
                for (set, p) in f.iter().enumerate() {
                    next[set | lifted] += p * ratio;
                }
            }
            f = next;
        }
        let total = f.iter().zip(&most).map(|(p, m)| p * m).sum();
        Self { lifts, most, total }
    }

    fn of(&self, base: &Hypothesis) -> f64 {
        self.most[base.faults.iter().fold(0, |set, f| set | self.lifts.get(f).copied().unwrap_or(0))]
    }
}

/// When to stop making hypotheses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Stop when what is left out is at most this much of the posterior.
    pub left_out: f64,
    /// Stop after this many hypotheses, whatever is left out.
    pub hypotheses: usize,
}

impl Default for Limits {
    /// 1e-4 of the posterior, at most 200 000 hypotheses.
    fn default() -> Self {
        Self { left_out: 1e-4, hypotheses: 200_000 }
    }
}

/// Answer of [`posterior`].
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// Hypotheses and their probability, likeliest first; each true probability lies between the one given and the
    /// one given plus `left_out`. With `left_out` they sum to 1.
    pub hypotheses: Vec<(Hypothesis, f64)>,
    /// Most that all hypotheses not listed can have together.
    pub left_out: f64,
}

impl Posterior {
    /// Probability that nothing is wrong with the machine.
    pub fn healthy(&self) -> f64 {
        self.hypotheses.iter().filter(|(h, _)| h.faults.is_empty()).map(|(_, p)| p).sum()
    }

    /// Probability of each fault, alone or with others.
    pub fn faults(&self) -> BTreeMap<Fault, f64> {
        let mut sums = BTreeMap::new();
        for (hypothesis, p) in &self.hypotheses {
            for &fault in &hypothesis.faults {
                *sums.entry(fault).or_insert(0.0) += p;
            }
        }
        sums
    }
}

/// Posterior over hypotheses, given the natural logarithm of each one's likelihood.
///
/// `ceilings` bound the likelihood of sets not made: no set may exceed the product over the ceilings; without any, 1.
/// The closer they are, the sooner the stated bound is reached: if `M` is the sum of prior times ceiling over what was
/// not made and `Z` the weight found, the rest has at most `M / (Z + M)` of the posterior.
///
/// # Errors
/// [`HypothesesError::NothingFits`] and [`HypothesesError::BadLikelihood`].
pub fn posterior(
    prior: &Prior,
    ln_likelihood: impl Fn(&Hypothesis) -> f64,
    ceilings: &[Ceiling],
    limits: &Limits,
) -> Result<Posterior, HypothesesError> {
    let bound = Bound::new(prior, ceilings);
    let mut weights: BTreeMap<Hypothesis, f64> = BTreeMap::new();
    let (mut found, mut covered) = (Sum::default(), Sum::default());
    let mut coming = prior.enumerate();
    let mut made = 0;
    // Rounding in the total is far below one part in 10¹³; the margin keeps the bound a bound.
    let rest = |coming: &Enumeration, covered: Sum| {
        if coming.is_empty() { 0.0 } else { (bound.total - covered.total()).max(0.0) + 1e-13 * bound.total }
    };
    while made < limits.hypotheses {
        let rest = rest(&coming, covered);
        if rest <= limits.left_out * (found.total() + rest) && limits.left_out > 0.0 {
            break;
        }
        let Some((hypothesis, p)) = coming.next() else { break };
        let (likelihood, most) = (ln_likelihood(&hypothesis).exp(), bound.of(&coming.base));
        // A rounding step above the promised ceiling is no broken promise.
        if likelihood.is_nan() || likelihood > most * (1.0 + 1e-9) {
            return Err(HypothesesError::BadLikelihood);
        }
        found.add(p * likelihood);
        covered.add(p * most);
        *weights.entry(hypothesis).or_insert(0.0) += p * likelihood;
        made += 1;
    }
    let rest = rest(&coming, covered);
    let total = found.total() + rest;
    if total.is_nan() || total <= 0.0 {
        return Err(HypothesesError::NothingFits);
    }
    let mut hypotheses: Vec<_> = weights.into_iter().map(|(h, w)| (h, w / total)).collect();
    hypotheses.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    Ok(Posterior { hypotheses, left_out: rest / total })
}
