//! The recording as it is, and as it would be without another load that spans several steps.
//!
//! A kettle on the same meter lifts everything while it boils. Within one step it is a level of its own; over several,
//! what the steps draw is only to be seen once it is taken off. So each stretch of time in which a load no step of the
//! sound machine has may have been on gives one more **view** of the recording, with its probability.

use super::emission::ROOT_2PI;
use super::habits::{Habits, LEAST_W};
use super::pieces::{Pieces, Stretch};

/// It stays above this share of itself.
const STAYS: f64 = 0.93;
/// A level within this share of a sound step's power is taken for that step's.
const OWN: f64 = 0.04;
/// Most views beside the plain one.
const MOST: usize = 2;

/// Another load: from and to, as places of stretches, and its power, W.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Beside {
    pub from: usize,
    pub to: usize,
    pub power_w: f64,
}

/// Loads that may have been on beside the machine, with their probability; `own_w` is what its steps draw when sound.
pub(super) fn beside(stretches: &[Stretch], own_w: &[f64], habits: &Habits) -> Vec<(Beside, f64)> {
    let own = |level: f64| own_w.iter().any(|w| (level - w).abs() <= OWN * w.abs());
    let mut found: Vec<(Beside, f64)> = Vec::new();
    for from in 1..stretches.len() {
        let (before, first) = (&stretches[from - 1], &stretches[from]);
        let power_w = first.power_w - before.power_w;
        if before.hole || first.hole || first.slope || power_w < LEAST_W || own(first.power_w) {
            continue;
        }
        let gone = |s: &Stretch| s.hole || s.power_w < STAYS * power_w;
        let to = (from..stretches.len()).find(|&k| gone(&stretches[k])).unwrap_or(stretches.len());
        let per_w = 1.0 / (power_w * (habits.range_w / 5.0).ln());
        let weight = habits.foreign * (ROOT_2PI * first.repeats_w * per_w).min(1.0);
        found.push((Beside { from, to, power_w }, weight));
    }
    // The longest are the ones that need it.
    let lasts = |b: &Beside| stretches[b.to - 1].end_s - stretches[b.from].start_s;
    found.sort_by(|a, b| lasts(&b.0).total_cmp(&lasts(&a.0)));
    found.truncate(MOST);
    found
}

/// The recording without that load.
pub(super) fn without(pieces: &Pieces, load: &Beside) -> Pieces {
    let mut stretches = pieces.stretches.clone();
    for stretch in &mut stretches[load.from..load.to] {
        stretch.power_w -= load.power_w;
    }
    Pieces::from_stretches(stretches)
}
