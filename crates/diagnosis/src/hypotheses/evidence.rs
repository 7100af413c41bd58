//! What was seen, one item after the other, and what is known of its likelihood before every hypothesis is worked out.

use super::prior::{Folded, Prior};
use super::{Fault, HypothesesError, Hypothesis};
use rustc_hash::FxHashMap;
use smallvec::SmallVec;

/// One piece of evidence: a reading, a complaint, a trace. Items are independent, given the faults.
///
/// A fault that no ceiling of an item names makes no difference to that item. This is what keeps a diagnosis small: sets
/// of faults that are equal to an item share its likelihood, and a fault that no item names is not made at all.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Together, by their product, they bound the item's likelihood under any set of faults. A reading has one; a trace
    /// may have one for each step.
    pub ceilings: Vec<Ceiling>,
}

/// How likely something can be at most, by how many faults that make a difference to it are there.
/// All are natural logarithms.
#[derive(Clone, Debug, PartialEq)]
pub struct Ceiling {
    /// Greatest likelihood when none of the faults in `alone` is there.
    pub without: f64,
    /// The faults that make a difference, by themselves or together with others, each with the greatest likelihood when
    /// it is the only one of them.
    pub alone: Vec<(Fault, f64)>,
    /// Greatest likelihood when several of them are there.
    pub together: f64,
    /// Several are never likelier than the likeliest of them alone by more than this; infinite where they may be. Sets of
    /// faults that each would have shown are then bounded closely, however many they are.
    pub beyond: f64,
}

impl Item {
    /// An item with one ceiling: `faults` can make a difference to it, and it is never likelier than `most` (a natural
    /// logarithm). How likely it is under each single fault is asked for when it is needed.
    pub fn new(faults: impl IntoIterator<Item = Fault>, most: f64) -> Self {
        let alone = faults.into_iter().map(|f| (f, most)).collect();
        Self { ceilings: vec![Ceiling { without: most, alone, together: most, beyond: f64::INFINITY }] }
    }

    /// The same where several faults are never likelier than the likeliest of them alone by more than `beyond`.
    #[must_use]
    pub fn beyond_alone(mut self, beyond: f64) -> Self {
        self.ceilings.iter_mut().for_each(|c| c.beyond = beyond);
        self
    }
}

/// An item, and the faults that it is asked for.
pub type Question = (usize, Hypothesis);

/// A set of faults by their place in [`Evidence::faults`], in rising order.
pub(super) type Places = SmallVec<[u16; 8]>;

/// Numbers for one ceiling, as shares of the greatest of them.
pub(super) struct Level {
    /// For each fault, by place; None where it makes no difference.
    pub(super) alone: Vec<Option<f64>>,
    pub(super) rule: Rule,
}

/// What a ceiling allows beside single faults.
#[derive(Clone, Copy)]
pub(super) struct Rule {
    pub(super) without: f64,
    pub(super) together: f64,
    /// Factor by which several may be likelier than the likeliest of them.
    pub(super) beyond: f64,
}

impl Rule {
    /// The most for so many faults that make a difference, the best of which gets this alone.
    pub(super) fn most(self, count: usize, best: f64) -> f64 {
        match count {
            0 => self.without,
            1 => best,
            _ if self.beyond.is_finite() => self.together.min(best * self.beyond),
            _ => self.together,
        }
    }
}

/// All items, with what was found out about them so far.
pub(super) struct Evidence<F> {
    ln_likelihoods: F,
    /// All faults that may be in a hypothesis, in order.
    pub(super) faults: Vec<Fault>,
    items: Vec<Known>,
    /// How often a likelihood was asked for.
    pub(super) asked: usize,
}

/// One item.
struct Known {
    levels: Vec<Level>,
    /// Logarithm of what the item's likelihoods are shares of.
    scale: f64,
    /// Whether each fault makes a difference.
    touched: Vec<bool>,
    without: f64,
    alone: Vec<f64>,
    /// Sets of two or more faults that were asked for.
    several: FxHashMap<Places, f64>,
}

/// The likelihood of a set of faults as a share of the greatest that could be.
pub(super) struct Share {
    pub(super) most: f64,
    /// The first item of which the likelihood is not known yet, only bounded.
    pub(super) open: Option<usize>,
}

impl<F: Fn(&[Question]) -> Vec<f64>> Evidence<F> {
    /// Asks for the likelihood of each item without faults and under each single one that makes a difference.
    pub(super) fn new(
        prior: &Prior,
        folded: &Folded,
        items: &[Item],
        ln_likelihoods: F,
    ) -> Result<Self, HypothesesError> {
        let mut faults: Vec<Fault> =
            folded.parts.iter().flat_map(|p| p.faults.iter().flatten().copied()).collect();
        let followers: Vec<Fault> = faults.iter().flat_map(|&f| folded.effects(f)).collect();
        faults.extend(followers);
        faults.sort_unstable();
        faults.dedup();
        let mut evidence = Self { ln_likelihoods, faults, items: Vec::new(), asked: 0 };
        for (item, ceilings) in items.iter().map(|i| &i.ceilings).enumerate() {
            let bad = |c: &Ceiling| c.alone.iter().any(|a| !prior.has(a.0));
            if ceilings.iter().any(bad) {
                return Err(HypothesesError::BadItem { item });
            }
            let known = evidence.known(item, ceilings)?;
            evidence.items.push(known);
        }
        Ok(evidence)
    }

    fn known(&mut self, item: usize, ceilings: &[Ceiling]) -> Result<Known, HypothesesError> {
        let count = self.faults.len();
        let (mut touched, mut scale) = (vec![false; count], 0.0);
        let mut levels = Vec::new();
        for ceiling in ceilings {
            let logs = || ceiling.alone.iter().map(|a| a.1).chain([ceiling.without, ceiling.together]);
            if logs().any(|ln| ln.is_nan() || ln == f64::INFINITY) {
                return Err(HypothesesError::BadItem { item });
            }
            let top = logs().fold(f64::NEG_INFINITY, f64::max);
            let top = if top == f64::NEG_INFINITY { 0.0 } else { top };
            let mut alone = vec![None; count];
            for &(fault, ln) in &ceiling.alone {
                if let Ok(place) = self.faults.binary_search(&fault) {
                    alone[place] = Some((ln - top).exp());
                    touched[place] = true;
                }
            }
            let (without, together) = ((ceiling.without - top).exp(), (ceiling.together - top).exp());
            let beyond = ceiling.beyond.exp();
            levels.push(Level { alone, rule: Rule { without, together, beyond } });
            scale += top;
        }
        let mut known = Known {
            levels,
            scale,
            touched,
            without: 0.0,
            alone: vec![0.0; count],
            several: FxHashMap::default(),
        };
        known.without = self.ask(item, &known, &[])?;
        for place in 0..count {
            known.alone[place] =
                if known.touched[place] { self.ask(item, &known, &[place as u16])? } else { known.without };
        }
        if let [level] = &mut known.levels[..] {
            level.rule.without = known.without;
            for (place, alone) in level.alone.iter_mut().enumerate() {
                *alone = alone.map(|_| known.alone[place]);
            }
        }
        Ok(known)
    }

    fn ask(&mut self, item: usize, known: &Known, places: &[u16]) -> Result<f64, HypothesesError> {
        self.asked += 1;
        let lns = (self.ln_likelihoods)(&[self.question(item, places)]);
        known.share(lns.first().copied(), places)
    }

    fn question(&self, item: usize, places: &[u16]) -> Question {
        let faults = places.iter().map(|&p| self.faults[p as usize]).collect();
        (item, Hypothesis { faults })
    }

    /// The likelihood of a set as far as it is known.
    pub(super) fn share(&self, places: &[u16]) -> Share {
        let mut share = Share { most: 1.0, open: None };
        let mut seen = Places::new();
        for (item, known) in self.items.iter().enumerate() {
            seen.clear();
            seen.extend(places.iter().copied().filter(|p| known.touched[*p as usize]));
            share.most *= match seen[..] {
                [] => known.without,
                [one] => known.alone[one as usize],
                _ => known.several.get(&seen).copied().unwrap_or_else(|| {
                    share.open = share.open.or(Some(item));
                    known.bound(&seen)
                }),
            };
        }
        share
    }

    /// The faults of a set that make a difference to an item.
    pub(super) fn seen(&self, item: usize, places: &[u16]) -> Places {
        let known = &self.items[item];
        places.iter().copied().filter(|p| known.touched[*p as usize]).collect()
    }

    /// Finds out the likelihoods of items under sets of faults that make a difference to them, all at once.
    pub(super) fn find_out(&mut self, all: &[(usize, Places)]) -> Result<(), HypothesesError> {
        let questions: Vec<Question> = all.iter().map(|(item, seen)| self.question(*item, seen)).collect();
        self.asked += all.len();
        let mut lns = (self.ln_likelihoods)(&questions).into_iter();
        for (item, seen) in all {
            let known = &mut self.items[*item];
            let share = known.share(lns.next(), seen)?;
            known.several.insert(seen.clone(), share);
        }
        Ok(())
    }

    pub(super) fn levels(&self) -> impl Iterator<Item = &Level> {
        self.items.iter().flat_map(|i| &i.levels)
    }

    pub(super) fn places(&self, hypothesis: &Hypothesis) -> Places {
        let place = |f: &Fault| self.faults.binary_search(f).ok().map(|p| p as u16);
        hypothesis.faults.iter().filter_map(place).collect()
    }
}

impl Known {
    /// An answer as a share of the greatest likelihood; it may not be missing, nor above what was promised.
    fn share(&self, ln: Option<f64>, places: &[u16]) -> Result<f64, HypothesesError> {
        let share = ln.map_or(f64::NAN, |ln| (ln - self.scale).exp());
        // A rounding step above the promised ceiling is no broken promise.
        if share.is_nan() || share > self.bound(places) * (1.0 + 1e-9) {
            return Err(HypothesesError::BadLikelihood);
        }
        Ok(share)
    }

    fn bound(&self, places: &[u16]) -> f64 {
        let of = |level: &Level| {
            let there = places.iter().filter_map(|&p| level.alone[p as usize]);
            let (count, best) = there.fold((0, 0.0_f64), |(n, best), alone| (n + 1, best.max(alone)));
            level.rule.most(count, best)
        };
        self.levels.iter().map(of).product()
    }
}
