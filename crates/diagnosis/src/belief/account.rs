//! What was told, and against what it is weighed. Nothing in it changes while sets of faults are weighed, so that threads may share it.

use super::Case;
use super::worlds::World;
use crate::evidence::Clue;
use crate::hypotheses::{self, Prior};
use crate::setup::Setup;
use machine::model::{Machine, PartId};
use std::collections::BTreeMap;

/// A further fault that makes a recording less than this much likelier (in nats) explains nothing more in it.
pub(super) const MUCH: f64 = 2.0;

/// What faults together may explain one item better than the best of them alone (in nats), where no single fault explains it.
/// Such readings are far oftener those of a machine that is not quite as its file says.
pub(super) const TOGETHER: f64 = 2.0;

/// The same of a recording, in which several faults may each explain some steps: less than this (in nats) is what a machine
/// costs that is not quite as its file says, and less than a second fault's rarity. Chosen by how made-up cases came out; no source.
pub(super) const SEVERAL: f64 = 12.0;

/// A single fault that explains all else this much worse than the best could (in nats) is ruled out there.
const RULED_OUT: f64 = 5.0;

/// One machine, and all that was told of it.
pub(super) struct Account<'m> {
    pub(super) machine: &'m Machine,
    pub(super) setup: Setup,
    pub(super) prior: Prior,
    pub(super) told: Vec<Told>,
    pub(super) occasions: Vec<Occasion>,
}

/// One clue, or the trace.
pub(super) struct Told {
    /// The clue; none for the trace.
    pub(super) clue: Option<Clue>,
    /// Parts that were mended before it.
    pub(super) mended: Vec<PartId>,
}

/// What was told of one occasion, weighed together: all readings and signs of a step, a reading of ohms, the trace. A fault
/// that shows only sometimes shows in all of it or in none.
pub(super) struct Occasion {
    /// Places of what was told.
    pub(super) told: Vec<usize>,
    /// Clues of the same step, before the same repairs and in answer to the same check, are of one occasion.
    pub(super) key: Option<(usize, Vec<PartId>, Option<String>)>,
    /// No set of faults is credited with more than this (a natural logarithm).
    pub(super) most: f64,
    /// It is a recording that several faults explain far better than the best of them.
    pub(super) several: bool,
    /// Faults that can make a difference to it; sorted.
    pub(super) faults: Vec<hypotheses::Fault>,
    /// What each of these gets alone.
    pub(super) alone: Vec<f64>,
    /// What a set gets that has none of them.
    pub(super) without: f64,
}

impl Account<'_> {
    /// The clue at this place; none for the trace.
    pub(super) fn clue(&self, item: usize) -> Option<&Clue> {
        self.told[item].clue.as_ref()
    }

    /// For each of these occasions what several faults may get beyond the best of them alone: nothing as long as one fault (or none)
    /// explains it that all else does not rule out. What stays possible is then bounded closely, however many faults
    /// could meet; and once that fault is ruled out, several may do together what none does alone.
    pub(super) fn beyond_alone(&self, occasions: &[usize]) -> Vec<f64> {
        let mut missed: BTreeMap<Option<hypotheses::Fault>, Vec<(usize, f64)>> = BTreeMap::new();
        let occasions: Vec<&Occasion> = occasions.iter().map(|&at| &self.occasions[at]).collect();
        for (at, o) in occasions.iter().enumerate() {
            for (fault, ln) in o.faults.iter().zip(&o.alone) {
                missed.entry(Some(*fault)).or_default().push((at, o.most - ln));
            }
        }
        missed.insert(None, Vec::new());
        let untouched: Vec<f64> = occasions.iter().map(|o| o.most - o.without).collect();
        let by_none: f64 = untouched.iter().sum();
        let mut explained = vec![false; occasions.len()];
        for missed in missed.values() {
            let all: f64 = by_none + missed.iter().map(|&(at, miss)| miss - untouched[at]).sum::<f64>();
            let mut each = untouched.clone();
            for &(at, miss) in missed {
                each[at] = miss;
            }
            for (explained, miss) in explained.iter_mut().zip(each) {
                *explained |= miss < MUCH && all - miss < RULED_OUT;
            }
        }
        let free = |o: &Occasion| if o.several { f64::INFINITY } else { TOGETHER };
        explained.iter().zip(occasions).map(|(&one, o)| if one { 0.0 } else { free(o) }).collect()
    }

    /// Natural logarithm of an occasion's likelihood under a set of faults: what it is credited with, and of several that make a
    /// difference to it no more than `beyond` above the likeliest of them alone.
    pub(super) fn ln_of(
        &self,
        world: &mut World<'_>,
        at: usize,
        hypothesis: &hypotheses::Hypothesis,
        beyond: f64,
    ) -> f64 {
        let Occasion { faults, alone, without, .. } = &self.occasions[at];
        let mut there = hypothesis.faults.iter().filter_map(|f| faults.binary_search(f).ok());
        let Some(first) = there.next() else { return *without };
        let Some(second) = there.next() else { return alone[first] };
        let best = there.map(|place| alone[place]).fold(alone[first].max(alone[second]), f64::max);
        self.credited(world, at, &Case::of(self.machine, hypothesis)).min(best + beyond)
    }

    /// What is known of each item before sets of faults are weighed: which faults can make a difference to it, and its
    /// greatest likelihood. (A fault that alone changes neither the clue nor what earlier steps leave is taken to
    /// change it in no company.)
    pub(super) fn known_beforehand(&self, occasions: &[usize], beyond: &[f64]) -> Vec<hypotheses::Item> {
        let of = |(&at, &beyond): (&usize, &f64)| {
            let o = &self.occasions[at];
            hypotheses::Item::new(o.faults.iter().copied(), o.most).beyond_alone(beyond)
        };
        occasions.iter().zip(beyond).map(of).collect()
    }
}
