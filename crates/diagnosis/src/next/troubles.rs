//! The suspects as the planner takes them: few, excluding each other, each with what a repair leaves of it.

use crate::belief::{Beliefs, Case};
use crate::plan::Left;
use bench::Hypothesis;
use machine::model::PartId;

/// Most suspects that a plan reckons with.
const MOST: usize = 24;

/// Share of all probability that the plan's suspects cover, where so many do.
const COVER: f64 = 0.995;

/// Suspects, those with fewer faults first; their probabilities are scaled to sum to 1.
pub(crate) struct Troubles {
    /// The suspects; healthy is always the first.
    pub(crate) cases: Vec<Case>,
    /// Their probabilities.
    pub(crate) probabilities: Vec<f64>,
}

impl Troubles {
    /// The leading cases, and what is left of each when one of its faults is mended.
    pub(crate) fn of(beliefs: &Beliefs) -> Troubles {
        let mut all: Vec<(Case, f64)> = vec![(Case::default(), 0.0)];
        let mut covered = 0.0;
        for (case, p) in beliefs.cases.iter().take(MOST) {
            if covered >= COVER {
                break;
            }
            covered += p;
            match all.iter_mut().find(|c| c.0 == *case) {
                Some(known) => known.1 += p,
                None => all.push((case.clone(), *p)),
            }
        }
        let mut at = 0;
        while at < all.len() {
            for place in 0..all[at].0.faults.faults().len() {
                let rest = without(&all[at].0, all[at].0.faults.faults()[place].0);
                if !all.iter().any(|c| c.0 == rest) {
                    all.push((rest, 0.0));
                }
            }
            at += 1;
        }
        all.sort_by(|a, b| {
            let count = |c: &Case| c.faults.faults().len();
            count(&a.0).cmp(&count(&b.0)).then(b.1.total_cmp(&a.1)).then_with(|| a.0.cmp(&b.0))
        });
        let total: f64 = all.iter().map(|c| c.1).sum();
        // Where next to nothing was weighed, all are alike.
        let alike = 1.0 / all.len() as f64;
        let share = |p: f64| if total > 1e-100 { p / total } else { alike };
        let (cases, probabilities) = all.into_iter().map(|(c, p)| (c, share(p))).unzip();
        Troubles { cases, probabilities }
    }

    /// The parts that are suspected.
    pub(crate) fn parts(&self) -> Vec<PartId> {
        let mut parts: Vec<PartId> =
            self.cases.iter().flat_map(|c| c.faults.faults().iter().map(|f| f.0)).collect();
        parts.sort_unstable();
        parts.dedup();
        parts
    }

    /// What mending this part leaves of each suspect; `None`: the machine is handed back as it is.
    pub(crate) fn left_by(&self, mended: Option<PartId>) -> Vec<Left> {
        let each = self.cases.iter().enumerate().map(|(s, case)| {
            let faults = case.faults.faults();
            let stays = Left { probability: 1.0, suspect: s };
            let Some(part) = mended else {
                return if faults.is_empty() { Left { probability: 0.0, suspect: s } } else { stays };
            };
            if !faults.iter().any(|f| f.0 == part) {
                return stays;
            }
            if faults.len() == 1 {
                return Left { probability: 0.0, suspect: s };
            }
            let rest = without(case, part);
            match self.cases.iter().position(|c| *c == rest) {
                Some(suspect) => Left { probability: 1.0, suspect },
                None => stays,
            }
        });
        each.collect()
    }
}

/// A case without the fault of one part.
fn without(case: &Case, part: PartId) -> Case {
    let faults = case.faults.faults();
    let left = faults.iter().filter(|f| f.0 != part).copied();
    let kept: Vec<usize> = (0..faults.len()).filter(|&i| faults[i].0 != part).collect();
    let sometimes =
        kept.iter().enumerate().filter(|(_, old)| case.sometimes.contains(old)).map(|(new, _)| new);
    Case { sometimes: sometimes.collect(), faults: Hypothesis::of(left) }
}
