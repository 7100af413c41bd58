//! The posterior: sets of faults by the most that they can weigh, until what is left cannot matter.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

use super::asking::{Asked, Asking};
use super::evidence::{Evidence, Item, Places, Question};
use super::lattice::Lattice;
use super::one_more::{Base, OneMore};
use super::prior::{Folded, Prior, nothing_aside};
use super::{Fault, HypothesesError, Hypothesis};

/// When to stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Stop when what is left out is at most this much of the posterior.
    pub left_out: f64,
    /// Stop after asking for this many likelihoods (those of single faults aside), whatever is left out.
    pub likelihoods: usize,
    /// Stop after looking at this many sets of faults, whatever is left out.
    pub sets: usize,
}

impl Default for Limits {
    /// 1e-4 of the posterior, at most 80 000 likelihoods and 60 000 sets.
    fn default() -> Self {
        Self { left_out: 1e-4, likelihoods: 80_000, sets: 60_000 }
    }
}

/// Answer of [`posterior`].
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// Hypotheses and their probability, likeliest first; each true probability lies between the one given and the
    /// one given plus `left_out`. With `left_out` they sum to 1. Faults that make no difference to the evidence are not
    /// told apart here: each hypothesis stands for itself with any of them.
    pub hypotheses: Vec<(Hypothesis, f64)>,
    /// Most that all hypotheses not listed can have together.
    pub left_out: f64,
    /// Faults that make no difference to the evidence, each with its probability when the hypothesis has no other fault
    /// of the same part. They stay as independent as they were.
    pub aside: Vec<(Fault, f64)>,
    /// Likelihoods asked for.
    pub likelihoods: usize,
}

impl Posterior {
    /// Probability that nothing is wrong with the machine, where the prior counts the empty set in full.
    pub fn healthy(&self) -> f64 {
        let nothing_seen: f64 =
            self.hypotheses.iter().filter(|(h, _)| h.faults.is_empty()).map(|(_, p)| p).sum();
        nothing_seen * nothing_aside(&self.aside)
    }

    /// Probability of each fault, alone or with others.
    pub fn faults(&self) -> BTreeMap<Fault, f64> {
        let mut sums = BTreeMap::new();
        let mut parts: BTreeMap<usize, f64> = BTreeMap::new();
        for (hypothesis, p) in &self.hypotheses {
            for &fault in &hypothesis.faults {
                *sums.entry(fault).or_insert(0.0) += p;
                *parts.entry(fault.part).or_insert(0.0) += p;
            }
        }
        let listed: f64 = self.hypotheses.iter().map(|h| h.1).sum();
        for &(fault, share) in &self.aside {
            sums.insert(fault, share * (listed - parts.get(&fault.part).copied().unwrap_or(0.0)));
        }
        sums
    }
}

/// Posterior over hypotheses, given the natural logarithm of each item's likelihood under a set of faults.
///
/// `ln_likelihood(item, faults)` is asked for the faults that make a difference to the item only, once for each set of
/// them. Sets of faults are looked at from the greatest weight that they can have, by the ceilings and by what was
/// asked so far; what all the others can weigh together is bounded, and is the stated bound.
///
/// # Errors
/// [`HypothesesError::NothingFits`], [`HypothesesError::BadItem`] and [`HypothesesError::BadLikelihood`].
pub fn posterior(
    prior: &Prior,
    ln_likelihood: impl Fn(usize, &Hypothesis) -> f64,
    items: &[Item],
    limits: &Limits,
) -> Result<Posterior, HypothesesError> {
    let one_by_one =
        |asks: &[Question]| asks.iter().map(|(item, faults)| ln_likelihood(*item, faults)).collect();
    posterior_at_once(prior, one_by_one, items, limits, 1)
}

/// The same where up to so many likelihoods are asked for at a time, so that whoever answers can work on them side by side. A few more
/// may be asked for than by [`posterior`].
///
/// # Errors
/// As [`posterior`].
pub fn posterior_at_once(
    prior: &Prior,
    ln_likelihoods: impl Fn(&[Question]) -> Vec<f64>,
    items: &[Item],
    limits: &Limits,
    at_once: usize,
) -> Result<Posterior, HypothesesError> {
    let named = || items.iter().flat_map(|i| &i.ceilings).flat_map(|c| &c.alone).map(|a| a.0);
    let matters: BTreeSet<Fault> = named().collect();
    let folded = prior.fold(|f| matters.contains(&f));
    let evidence = Evidence::new(prior, &folded, items, ln_likelihoods)?;
    let lattice = Lattice::new(&folded, &evidence);
    let one_more = OneMore::new(&folded, &evidence);
    let mut search = Search {
        prior: &folded,
        evidence,
        lattice,
        one_more,
        base: Base::default(),
        split: Split::default(),
        heap: BinaryHeap::new(),
        grown: Vec::new(),
        sets: Vec::new(),
        asking: Asking::new(at_once),
        waiting: 0.0,
        dust: 0.0,
        dust_limit: 0.1 * limits.left_out,
        speck: limits.left_out / limits.sets.max(1) as f64,
        found: 0.0,
        singles: 0.0,
        weights: BTreeMap::new(),
        limits: *limits,
    };
    search.singles = search.weight_of_singles();
    search.run()?;
    search.answer()
}

/// Something that may still weigh in.
#[derive(Clone, Copy)]
struct Entry {
    /// Most that it can weigh.
    most: f64,
    /// Its prior, as far as its states are chosen.
    prior: f64,
    what: What,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What {
    /// A set by how it grew, with part `last` (by place in the prior) moved to the state with rank `rank`, and all that
    /// add to it from the next part on; `closer` where that was bounded set by set already.
    From { grown: u32, last: u16, rank: u16, state: u16, closer: bool },
    /// The set with this place in [`Search::sets`].
    One { set: u32 },
}

/// A set that grew by one part from an earlier one.
struct Grown {
    from: u32,
    last: u16,
    rank: u16,
}

/// Where sets grow from: nothing moved.
const NOTHING: u32 = u32::MAX;

/// No part was moved: part 0 comes next.
const NO_PART: u16 = u16::MAX;

/// A set that is gathered to be asked for may have to be looked at so many times more; with fewer left, a limit would end the search
/// while the weightiest wait. Chosen by what made-up machines then leave out.
const STILL: usize = 3;

/// Sets that come to less than this share of what was thought of them together are put back together.
const CLOSER: f64 = 0.5;

/// A set and all that add to it, split.
#[derive(Default)]
struct Split {
    /// The set itself, and with what it brings along; the most each can weigh, and its prior.
    itself: Vec<(Places, f64, f64)>,
    more: Vec<More>,
    /// What those come to that are too little to keep.
    dust: f64,
}

/// A set with one part more moved, and all that add to that.
struct More {
    most: f64,
    prior: f64,
    part: u16,
    rank: u16,
    state: u16,
}

impl Split {
    /// The most that all can weigh together.
    fn all(&self) -> f64 {
        self.dust
            + self.itself.iter().map(|i| i.1).sum::<f64>()
            + self.more.iter().map(|m| m.most).sum::<f64>()
    }
}

impl PartialEq for Entry {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Entry {}

impl PartialOrd for Entry {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Entry {
    /// The weightier is greater; among equals the order is fixed, so that two runs agree.
    fn cmp(&self, other: &Self) -> Ordering {
        self.most.total_cmp(&other.most).then_with(|| other.what.cmp(&self.what))
    }
}

struct Search<'a, F> {
    prior: &'a Folded<'a>,
    evidence: Evidence<F>,
    lattice: Lattice,
    one_more: OneMore,
    base: Base,
    split: Split,
    heap: BinaryHeap<Entry>,
    grown: Vec<Grown>,
    /// Sets that came up, and are not listed yet or were.
    sets: Vec<Places>,
    /// Sets that are going to be asked for; neither in the heap nor among the dust.
    asking: Asking,
    /// Sum over the heap, but for rounding.
    waiting: f64,
    /// Sum over what was too little to keep.
    dust: f64,
    /// Most that the dust may come to, as a share of what was found.
    dust_limit: f64,
    /// As a share of what was found: as many of these as may be looked at come to no more than may be left out.
    speck: f64,
    found: f64,
    /// What the sets of at most one fault weigh together, known from the start; all sets weigh no less.
    singles: f64,
    weights: BTreeMap<Hypothesis, f64>,
    limits: Limits,
}

impl<F: Fn(&[Question]) -> Vec<f64>> Search<'_, F> {
    fn run(&mut self) -> Result<(), HypothesesError> {
        let singles = self.evidence.asked;
        let nothing = Grown { from: NOTHING, last: NO_PART, rank: 0 };
        let what = What::From { grown: NOTHING, last: NO_PART, rank: 0, state: 0, closer: true };
        self.branch(Entry { most: f64::INFINITY, prior: self.prior.best, what }, nothing, 0, true);
        for looked in 0..self.limits.sets {
            let asked = self.evidence.asked - singles;
            if asked >= self.limits.likelihoods || self.is_enough(looked) {
                break;
            }
            // What is gathered is asked for in time, before a limit ends the search.
            let gathered = self.asking.len();
            let is_due =
                asked + gathered >= self.limits.likelihoods || looked + STILL * gathered >= self.limits.sets;
            if gathered > 0 && (is_due || self.heap.is_empty()) {
                self.ask()?;
                continue;
            }
            let Some(entry) = self.heap.pop() else { break };
            self.waiting -= entry.most;
            match entry.what {
                What::From { grown, last, rank, state, closer } => {
                    self.branch(entry, Grown { from: grown, last, rank }, state, closer);
                }
                What::One { set } => self.look(entry.prior, set)?,
            }
        }
        for Asked { most, prior, set, .. } in self.asking.take() {
            self.heap.push(Entry { most, prior, what: What::One { set } });
        }
        self.list_what_is_known();
        Ok(())
    }

    /// Lists what is still waiting but known, at the end: sets of which nothing is open, and single faults that their own
    /// companies hide. What stays is their bound without that.
    fn list_what_is_known(&mut self) {
        let plain = self.prior.parts.iter().all(|p| p.faults[0].is_none());
        for mut entry in std::mem::take(&mut self.heap).into_vec() {
            let known = match entry.what {
                What::One { set } => {
                    let places = &self.sets[set as usize];
                    let share = self.evidence.share(places);
                    let faults = places.iter().map(|&p| self.evidence.faults[p as usize]).collect();
                    share.open.is_none().then_some((Hypothesis { faults }, entry.prior * share.most))
                }
                What::From { grown, last, rank, .. } if plain && grown == NOTHING => {
                    let fault = self.prior.parts[last as usize].faults[rank as usize];
                    fault.filter(|&f| self.prior.effects(f).next().is_none()).map(|fault| {
                        let hypothesis = Hypothesis { faults: vec![fault] };
                        let share = self.evidence.share(&self.evidence.places(&hypothesis));
                        (hypothesis, entry.prior * share.most)
                    })
                }
                What::From { .. } => None,
            };
            if let Some((hypothesis, weight)) = known.filter(|k| k.1 > 0.0) {
                let weight = weight.min(entry.most);
                self.found += weight;
                entry.most -= weight;
                *self.weights.entry(hypothesis).or_insert(0.0) += weight;
            }
            if entry.most > 0.0 {
                self.heap.push(entry);
            }
        }
    }

    fn weight_of_singles(&self) -> f64 {
        let parts = &self.prior.parts;
        // Rates beyond one half make another start; there nothing is known from the start.
        if parts.iter().any(|p| p.faults[0].is_some()) {
            return 0.0;
        }
        let singles = parts.iter().flat_map(|p| p.faults.iter().zip(&p.ratios).skip(1));
        let weights = singles.filter_map(|(fault, ratio)| {
            let fault = (*fault)?;
            let place = self.evidence.faults.binary_search(&fault).ok()?;
            let alone = self.prior.effects(fault).next().is_none();
            alone.then(|| ratio * self.evidence.share(&[place as u16]).most)
        });
        self.prior.best * (self.prior.empty * self.evidence.share(&[]).most + weights.sum::<f64>())
    }

    fn is_enough(&mut self, looked: usize) -> bool {
        let left_out = self.limits.left_out;
        let asking = self.asking.most();
        let enough = |left: f64, found: f64| left_out > 0.0 && left <= left_out * (found + left);
        // Nothing that is still waiting makes much of a difference.
        if left_out > 0.0 && self.waiting + asking < 0.05 * self.dust {
            self.waiting = self.left() - self.dust - asking;
            if self.waiting + asking < 0.05 * self.dust {
                return true;
            }
        }
        // The running sum is only a hint: what counts is summed afresh.
        if !enough(self.waiting + asking + self.dust, self.found) && looked % 4096 != 4095 {
            return false;
        }
        let left = self.left();
        self.waiting = left - self.dust - asking;
        enough(left, self.found)
    }

    /// Most that all sets not listed can weigh; the margin is for the rounding of the bounds.
    fn left(&self) -> f64 {
        (self.heap.iter().map(|e| e.most).sum::<f64>() + self.asking.most() + self.dust) * (1.0 + 1e-12)
    }

    fn push(&mut self, most: f64, prior: f64, what: What) {
        if most <= 0.0 {
            return;
        }
        let found = self.found.max(self.singles);
        if most <= self.speck * found || self.dust + most <= self.dust_limit * found {
            self.dust += most;
            return;
        }
        self.waiting += most;
        self.heap.push(Entry { most, prior, what });
    }

    /// Splits a set and all that add to it into the set itself and those that move one part more; or, where these come to far less
    /// than was thought of them together, puts them back together as that.
    fn branch(&mut self, entry: Entry, grown: Grown, state: u16, closer: bool) {
        let mut split = std::mem::take(&mut self.split);
        self.split_up(entry.prior, &grown, state, &mut split);
        let all = split.all();
        if !closer && all < CLOSER * entry.most && self.heap.peek().is_some_and(|e| e.most > all) {
            let Grown { from, last, rank } = grown;
            self.push(all, entry.prior, What::From { grown: from, last, rank, state, closer: true });
        } else {
            let grown = if grown.last == NO_PART { NOTHING } else { self.add(grown) };
            self.dust += split.dust;
            for (places, most, prior) in split.itself.drain(..) {
                self.sets.push(places);
                self.push(most, prior, What::One { set: self.sets.len() as u32 - 1 });
            }
            for More { most, prior, part, rank, state } in split.more.drain(..) {
                self.push(most, prior, What::From { grown, last: part, rank, state, closer: false });
            }
        }
        self.split = split;
    }

    fn add(&mut self, grown: Grown) -> u32 {
        self.grown.push(grown);
        self.grown.len() as u32 - 1
    }

    fn split_up(&mut self, prior: f64, grown: &Grown, mut state: u16, split: &mut Split) {
        split.itself.clear();
        split.more.clear();
        split.dust = 0.0;
        let itself = self.base(grown);
        let comes_alone = itself.iter().all(|&f| self.prior.effects(f).next().is_none());
        if comes_alone {
            let faults = itself.clone();
            self.one_more.ready(&self.evidence.places(&Hypothesis { faults }), &mut self.base);
        }
        for (hypothesis, mut prior) in self.prior.follow(itself, prior) {
            if hypothesis.faults.is_empty() {
                prior *= self.prior.empty;
            }
            let places = self.evidence.places(&hypothesis);
            let most = prior * self.evidence.share(&places).most;
            split.itself.push((places, most, prior));
        }
        let speck = self.speck * self.found.max(self.singles);
        let from = if grown.last == NO_PART { 0 } else { grown.last as usize + 1 };
        for (part, states) in self.prior.parts.iter().enumerate().skip(from) {
            let (all, greatest) = self.lattice.moved(state, part);
            if prior * greatest <= speck {
                // Each of them is dust: see `push`.
                split.dust += prior * all;
                break;
            }
            for (rank, ratio) in states.ratios.iter().enumerate().skip(1) {
                let prior = prior * ratio;
                let after = self.lattice.after(state, part, rank);
                let coarse = self.lattice.completions(after, part + 1);
                let most = match self.one_more.place(part, rank).filter(|_| comes_alone) {
                    Some(more) => {
                        let (further, _) = self.lattice.moved(after, part + 1);
                        coarse.min(self.one_more.share(&self.base, more) + further)
                    }
                    None => coarse,
                };
                let (part, rank) = (part as u16, rank as u16);
                split.more.push(More { most: prior * most, prior, part, rank, state: after });
            }
            state = self.lattice.after(state, part, 0);
        }
    }

    /// The faults of a set that arise by themselves.
    fn base(&self, grown: &Grown) -> Vec<Fault> {
        let mut ranks = vec![0; self.prior.parts.len()];
        let mut step = Some(grown).filter(|g| g.last != NO_PART);
        while let Some(Grown { from, last, rank }) = step {
            ranks[*last as usize] = *rank as usize;
            step = self.grown.get(*from as usize);
        }
        self.prior.parts.iter().zip(ranks).filter_map(|(states, rank)| states.faults[rank]).collect()
    }

    /// Lists one set if all is known about it and nothing else may weigh more; else finds out more.
    fn look(&mut self, prior: f64, set: u32) -> Result<(), HypothesesError> {
        let places = std::mem::take(&mut self.sets[set as usize]);
        let share = self.evidence.share(&places);
        let most = prior * share.most;
        let overtaken = self.heap.peek().is_some_and(|e| e.most > most);
        match share.open {
            None if !overtaken => {
                let faults = places.iter().map(|&p| self.evidence.faults[p as usize]).collect();
                self.found += most;
                *self.weights.entry(Hypothesis { faults }).or_insert(0.0) += most;
                return Ok(());
            }
            Some(item) if !overtaken => {
                let question = (item, self.evidence.seen(item, &places));
                self.sets[set as usize] = places;
                self.asking.add(Asked { most, prior, set, question });
                // If all but these came to little enough, none of the others would be asked for.
                let (others, all) = (self.waiting + self.dust, self.found + self.waiting + self.dust);
                if self.asking.is_full() || others <= self.limits.left_out * all {
                    self.ask()?;
                }
            }
            _ => {
                self.sets[set as usize] = places;
                self.push(most, prior, What::One { set });
            }
        }
        Ok(())
    }

    /// Asks for all that is to be asked for.
    fn ask(&mut self) -> Result<(), HypothesesError> {
        let asking = self.asking.take();
        let mut questions: Vec<(usize, Places)> = asking.iter().map(|a| a.question.clone()).collect();
        questions.sort_unstable();
        questions.dedup();
        self.evidence.find_out(&questions)?;
        for Asked { prior, set, .. } in asking {
            let most = prior * self.evidence.share(&self.sets[set as usize]).most;
            self.push(most, prior, What::One { set });
        }
        Ok(())
    }

    fn answer(self) -> Result<Posterior, HypothesesError> {
        let left = self.left();
        let total = self.weights.values().sum::<f64>() + left;
        if total.is_nan() || total <= 0.0 {
            return Err(HypothesesError::NothingFits);
        }
        let mut hypotheses: Vec<_> = self.weights.into_iter().map(|(h, w)| (h, w / total)).collect();
        hypotheses.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let (aside, likelihoods) = (self.prior.aside.clone(), self.evidence.asked);
        Ok(Posterior { hypotheses, left_out: left / total, aside, likelihoods })
    }
}
