//! What one more fault makes of a set, at most: all ceilings as they are, many further faults in a row.
//!
//! The lattice sees ceilings coarsely, and credits a set of faults that could never meet what was told with the best that any could.
//! Most sets of three are cast out here before they are made.

use super::Fault;
use super::evidence::{Evidence, Places, Question, Rule};
use super::prior::Folded;

/// Every fault's share by every ceiling.
pub(super) struct OneMore {
    rules: Vec<Rule>,
    /// By place of the fault, then ceiling; below nothing where it makes no difference.
    alone: Vec<f64>,
    /// The place of each part's states, in the order of the prior; none where more than that fault comes with it, or another goes.
    places: Vec<Vec<Option<u16>>>,
}

/// A set of faults, as one more meets it at each ceiling.
#[derive(Default)]
pub(super) struct Base {
    /// The greatest share where the one more makes no difference.
    untouched: Vec<f64>,
    /// Where it does: the best so far, by how much two may be beyond the better of them, and what they may get at most.
    best: Vec<f64>,
    beyond: Vec<f64>,
    most: Vec<f64>,
}

impl OneMore {
    pub(super) fn new<F: Fn(&[Question]) -> Vec<f64>>(prior: &Folded, evidence: &Evidence<F>) -> Self {
        let levels = || evidence.levels();
        let alone = |place: usize| levels().map(move |level| level.alone[place].unwrap_or(-1.0));
        let adds_only_itself = |fault: &Option<Fault>| fault.filter(|&f| prior.effects(f).next().is_none());
        let place = |fault: Fault| evidence.faults.binary_search(&fault).ok().map(|p| p as u16);
        let plain = prior.parts.iter().all(|p| p.faults[0].is_none());
        let of_part = |faults: &Vec<Option<Fault>>| {
            faults.iter().map(|f| adds_only_itself(f).filter(|_| plain).and_then(place)).collect()
        };
        Self {
            rules: levels().map(|l| l.rule).collect(),
            alone: (0..evidence.faults.len()).flat_map(alone).collect(),
            places: prior.parts.iter().map(|p| of_part(&p.faults)).collect(),
        }
    }

    /// The place of the one fault that this state of a part adds.
    pub(super) fn place(&self, part: usize, rank: usize) -> Option<u16> {
        self.places[part][rank]
    }

    /// Readies a set for [`OneMore::share`].
    pub(super) fn ready(&self, set: &Places, base: &mut Base) {
        for row in [&mut base.untouched, &mut base.best, &mut base.beyond, &mut base.most] {
            row.clear();
        }
        for (ceiling, rule) in self.rules.iter().enumerate() {
            let there = set.iter().map(|&p| self.alone(p)[ceiling]).filter(|a| *a >= 0.0);
            let (count, best) = there.fold((0, 0.0_f64), |(n, best), alone| (n + 1, best.max(alone)));
            base.untouched.push(rule.most(count, best));
            let (best, beyond, most) = match count {
                0 => (0.0, 1.0, f64::INFINITY),
                _ if rule.beyond.is_finite() => (best, rule.beyond, rule.together),
                _ => (f64::INFINITY, 1.0, rule.together),
            };
            base.best.push(best);
            base.beyond.push(beyond);
            base.most.push(most);
        }
    }

    fn alone(&self, place: u16) -> &[f64] {
        &self.alone[place as usize * self.rules.len()..][..self.rules.len()]
    }

    /// The greatest share of that set with one more fault.
    pub(super) fn share(&self, base: &Base, more: u16) -> f64 {
        let so_far = base.best.iter().zip(&base.beyond).zip(&base.most);
        let each = self.alone(more).iter().zip(&base.untouched).zip(so_far);
        each.map(
            |((&alone, &untouched), ((&best, &beyond), &most))| {
                if alone < 0.0 { untouched } else { (best.max(alone) * beyond).min(most) }
            },
        )
        .product()
    }
}
