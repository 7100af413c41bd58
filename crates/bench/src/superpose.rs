//! Faults that do not touch each other: the instant under both, from the instants under each. One of them may stand for two
//! that do not touch each other either.
//!
//! The network is linear, so that of three solutions, healthy `x`, with one fault `x + δ`, with the other `x + ε`, the
//! sum `x + δ + ε` obeys Kirchhoff's laws. It is the solution under both faults if it also obeys every branch: where the
//! first fault (or what follows from it: a motor that stands, a lock that stays open) changed a branch, the second must
//! have left that branch's current and the potentials of its ends as they were, and the other way about. What parts do
//! depends on their own currents, modes and situations alone; so no part's may be changed by both. All this is held
//! round by round ([`Difference::of`]); where it fails, the instant is solved ([`crate::shared`]).

use crate::bits::Bits;
use crate::moment::{Moment, Phases};
use crate::replay::Replayed;
use crate::shared::Fault;
use circuit::{Complex64, Solved, end_of};
use machine::kind::{Branch, Path, Situation};
use machine::model::{Machine, NodeId, Part, PartId};
use std::sync::Arc;

/// Currents that differ by less are the same, A.
pub(crate) const SAME_BELOW_A: f64 = 1e-12;
/// Potentials that differ by less are the same, V.
pub(crate) const SAME_BELOW_V: f64 = 1e-10;
/// A sum of currents below this may be nothing but rounding, A.
const UNSURE_BELOW_A: f64 = 1e-9;

/// An instant's rounds as they were solved.
#[derive(Clone, Default)]
pub(crate) struct Rounds {
    /// Nothing changed after the last round.
    pub(crate) settled: bool,
    phases: Vec<Phases>,
    /// The first `used` of these; the others are kept for their memory.
    all: Vec<Round>,
    used: usize,
}

/// One round.
#[derive(Clone, Default)]
pub(crate) struct Round {
    situations: Vec<Situation>,
    /// Place of each part's first branch in `amps`; one more at the end.
    first: Vec<u32>,
    amps: Vec<Complex64>,
    /// By node.
    potentials: Vec<Option<Complex64>>,
}

impl Rounds {
    pub(crate) fn start(&mut self, phases: &[Phases]) {
        self.settled = false;
        self.phases.clear();
        self.phases.extend_from_slice(phases);
        self.used = 0;
    }

    pub(crate) fn note(&mut self, machine: &Machine, situations: &[Situation], solved: &Solved<'_>) {
        if self.all.len() == self.used {
            self.all.push(Round::default());
        }
        let round = &mut self.all[self.used];
        self.used += 1;
        round.situations.clear();
        round.situations.extend_from_slice(situations);
        round.first.clear();
        round.amps.clear();
        for part in 0..machine.parts.len() {
            round.first.push(round.amps.len() as u32);
            round.amps.extend(solved.amps(part));
        }
        round.first.push(round.amps.len() as u32);
        round.potentials.clear();
        round.potentials.extend(solved.potentials().take(machine.nodes.len()));
    }

    /// The phases that reached the motors.
    pub(crate) fn phases(&self) -> &[Phases] {
        &self.phases
    }

    /// All rounds.
    pub(crate) fn all(&self) -> &[Round] {
        &self.all[..self.used]
    }

    /// The round of this number; the last, once nothing changes any more.
    fn round(&self, number: usize) -> &Round {
        &self.all[number.min(self.used - 1)]
    }
}

impl Round {
    /// The circumstances of a part.
    pub(crate) fn situation(&self, part: PartId) -> &Situation {
        &self.situations[part]
    }

    /// The potential of a node against neutral, V; none where it floats.
    pub(crate) fn potential(&self, node: NodeId) -> Option<Complex64> {
        self.potentials[node]
    }

    /// Nodes without potential.
    pub(crate) fn floating(&self) -> impl Iterator<Item = NodeId> + '_ {
        self.potentials.iter().enumerate().filter(|(_, p)| p.is_none()).map(|(node, _)| node)
    }

    /// The current of each of its branches, A.
    pub(crate) fn amps(&self, part: PartId) -> &[Complex64] {
        &self.amps[self.first[part] as usize..self.first[part + 1] as usize]
    }
}

/// Where an instant with a fault differs from the healthy one, in any round.
#[derive(Clone, Debug)]
pub(crate) struct Difference {
    /// Parts whose mode or situation differs.
    altered: Bits,
    /// Those of them whose branches differ.
    rewired: Bits,
    /// Ends of branches that are open in the healthy machine and are not with the fault. (Of other branches the current
    /// tells all: a closed one has no drop, any other's follows from it.)
    closed_ends: Bits,
    /// Parts in which other currents flow.
    amps: Bits,
    /// Parts that may do something else: altered, or with another current through more than a closed contact.
    acting: Bits,
    /// Nodes at another potential.
    nodes: Bits,
    /// It can be told at all: nothing short, nothing that flips for ever.
    known: bool,
}

impl Difference {
    /// Of the instant with this fault (`rounds`, `moment`) from the healthy one.
    pub(crate) fn of(
        machine: &Machine,
        fault: Fault,
        (rounds, moment): (&Rounds, &Moment),
        (healthy, healthy_moment): (&Rounds, &Moment),
    ) -> Difference {
        let mut d = Difference::none(machine, rounds.settled && healthy.settled);
        if !d.known {
            return d;
        }
        d.altered.insert(fault.0);
        for (a, b) in rounds.phases.iter().zip(&healthy.phases).filter(|(a, b)| a != b) {
            d.altered.insert(a.1);
            d.altered.insert(b.1);
        }
        for number in 0..rounds.used.max(healthy.used) {
            d.compare(machine, rounds.round(number), healthy.round(number));
        }
        d.look_at_branches(machine, fault, (rounds, healthy));
        d.hang_together(machine, fault.0, (moment, healthy_moment), healthy);
        d
    }

    /// Of an instant with a fault that changes no current ([`crate::replay`]), from the healthy one.
    pub(crate) fn of_replayed(
        machine: &Machine,
        fault: PartId,
        replayed: &Replayed,
        healthy_moment: &Moment,
        healthy: &Rounds,
    ) -> Difference {
        let mut d = Difference::none(machine, true);
        replayed.altered.iter().for_each(|&part| d.altered.insert(part));
        replayed.rewired.iter().for_each(|&part| d.rewired.insert(part));
        replayed.closed_ends.iter().for_each(|&node| d.closed_ends.insert(node));
        replayed.joined.iter().for_each(|&node| d.nodes.insert(node));
        d.hang_together(machine, fault, (&replayed.moment, healthy_moment), healthy);
        d
    }

    fn none(machine: &Machine, known: bool) -> Difference {
        let parts = machine.parts.len();
        Difference {
            altered: Bits::none(parts),
            rewired: Bits::none(parts),
            closed_ends: Bits::none(machine.nodes.len()),
            amps: Bits::none(parts),
            acting: Bits::none(parts),
            nodes: Bits::none(machine.nodes.len()),
            known,
        }
    }

    /// What may do something else, since what it hangs together with does.
    fn hang_together(
        &mut self,
        machine: &Machine,
        fault: PartId,
        (moment, healthy_moment): (&Moment, &Moment),
        healthy: &Rounds,
    ) {
        let d = self;
        d.acting.join(&d.altered);
        // What an inverter and its motor do hangs together, and on the way from the motor to the drum.
        for (id, part) in machine.parts.iter().enumerate() {
            let turns = |m: &Moment| m.effect(id).is_some_and(|e| e.turns_rpm.is_some());
            if part.through.contains(&fault) && (turns(moment) || turns(healthy_moment)) {
                d.acting.insert(id);
            }
        }
        for &(inverter, motor, _) in &healthy.phases {
            if d.acting.has(inverter) || d.acting.has(motor) {
                d.acting.insert(inverter);
                d.acting.insert(motor);
            }
        }
    }

    fn compare(&mut self, machine: &Machine, now: &Round, healthy: &Round) {
        for (id, part) in machine.parts.iter().enumerate() {
            if !part.kind.behaviour.only_conducts() && now.situations[id] != healthy.situations[id] {
                self.altered.insert(id);
            }
            let (a, b) = (now.amps(id), healthy.amps(id));
            if a.len() != b.len() || a.iter().zip(b).any(|(a, b)| (a - b).l1_norm() > SAME_BELOW_A) {
                self.amps.insert(id);
                if part.kind.behaviour.can_stall() {
                    self.acting.insert(id);
                }
            }
        }
        for (node, (a, b)) in now.potentials.iter().zip(&healthy.potentials).enumerate() {
            let same = match (a, b) {
                (Some(a), Some(b)) => (a - b).l1_norm() <= SAME_BELOW_V,
                (None, None) => true,
                _ => false,
            };
            if !same {
                self.nodes.insert(node);
            }
        }
    }

    /// Which parts' branches differ and how, and which parts have another current through more than a contact.
    fn look_at_branches(
        &mut self,
        machine: &Machine,
        (fault, mode): Fault,
        (rounds, healthy): (&Rounds, &Rounds),
    ) {
        let (mut now, mut before): (Vec<Branch>, Vec<Branch>) = (Vec::new(), Vec::new());
        for (id, part) in machine.parts.iter().enumerate() {
            if !self.altered.has(id) && !self.amps.has(id) {
                continue;
            }
            let mode = (id == fault).then(|| part.kind.modes[mode].name);
            let differing =
                if part.kind.behaviour.only_conducts() { 1 } else { rounds.used.max(healthy.used) };
            for number in 0..differing {
                let (s, h) = (&rounds.round(number).situations[id], &healthy.round(number).situations[id]);
                now.clear();
                before.clear();
                part.kind.behaviour.electrics(&part.params, mode, s, &mut now);
                part.kind.behaviour.electrics(&part.params, None, h, &mut before);
                let finite = |b: &Branch| matches!(b.ac, Path::Ohms { .. });
                if self.amps.has(id) && now.iter().chain(&before).any(finite) {
                    self.acting.insert(id);
                }
                if now != before {
                    self.rewired.insert(id);
                    self.note_closed(part, &now, &before);
                }
            }
        }
    }

    fn note_closed(&mut self, part: &Part, now: &[Branch], before: &[Branch]) {
        let alike = now.len() == before.len()
            && now.iter().zip(before).all(|(n, b)| (n.from, n.to) == (b.from, b.to));
        for (place, branch) in now.iter().enumerate().filter(|(_, b)| b.ac != Path::Open) {
            if !alike || before[place].ac == Path::Open {
                for node in [branch.from, branch.to].into_iter().filter_map(|end| end_of(part, end)) {
                    self.closed_ends.insert(node);
                }
            }
        }
    }

    /// Of the instant with both faults, where they are apart: what one of them changed may be as in the healthy one again, but
    /// nothing else is changed.
    pub(crate) fn and(&self, other: &Difference) -> Difference {
        let mut both = self.clone();
        both.altered.join(&other.altered);
        both.rewired.join(&other.rewired);
        both.closed_ends.join(&other.closed_ends);
        both.amps.join(&other.amps);
        both.acting.join(&other.acting);
        both.nodes.join(&other.nodes);
        both
    }

    /// Has the other fault left alone what this one changed, and the other way about?
    fn apart(&self, other: &Difference) -> bool {
        self.known
            && other.known
            && !self.acting.meets(&other.acting)
            && !self.rewired.meets(&other.amps)
            && !other.rewired.meets(&self.amps)
            && !self.closed_ends.meets(&other.nodes)
            && !other.closed_ends.meets(&self.nodes)
    }
}

/// An instant and where it differs from the healthy one.
#[derive(Clone, Copy)]
pub(crate) struct Differing<'a> {
    pub(crate) moment: &'a Moment,
    pub(crate) from_healthy: &'a Difference,
}

/// The instant under two faults; none where they touch each other, or where it cannot be told.
/// [`Moment::conclude`] is still to be called.
pub(crate) fn superpose(healthy: &Moment, f: Differing<'_>, g: Differing<'_>) -> Option<Moment> {
    if !f.from_healthy.apart(g.from_healthy) {
        return None;
    }
    let (a, b) = (f.moment, g.moment);
    let current = a.current + b.current - healthy.current;
    if current.l1_norm() < UNSURE_BELOW_A {
        return None;
    }
    let theirs = &g.from_healthy.acting;
    let mut doing = Vec::with_capacity(a.doing.len() + b.doing.len());
    doing.extend(a.doing.iter().filter(|d| !theirs.has(d.0)).cloned());
    doing.extend(b.doing.iter().filter(|d| theirs.has(d.0)).cloned());
    doing.sort_unstable_by_key(|d| d.0);
    let input_volts = one_that_changed(&healthy.input_volts, [&a.input_volts, &b.input_volts], |x, y| {
        (x - y).abs() <= SAME_BELOW_V
    })?;
    let sensors = one_that_changed(&healthy.sensors, [&a.sensors, &b.sensors], |x, y| x == y)?;
    let mut spread = a.spread;
    spread.re_re += b.spread.re_re - healthy.spread.re_re;
    spread.re_im += b.spread.re_im - healthy.spread.re_im;
    spread.im_im += b.spread.im_im - healthy.spread.im_im;
    Some(Moment {
        current,
        earth: a.earth + b.earth - healthy.earth,
        spread,
        doing,
        input_volts,
        sensors,
        ..Moment::default()
    })
}

/// Of two lists, the one that differs from the healthy one; put together where both do, but not in the same place.
fn one_that_changed<T: Copy>(
    healthy: &Arc<[T]>,
    [a, b]: [&Arc<[T]>; 2],
    same: impl Fn(&T, &T) -> bool,
) -> Option<Arc<[T]>> {
    let unchanged = |list: &Arc<[T]>| list.iter().zip(healthy.iter()).all(|(x, h)| same(x, h));
    if unchanged(b) {
        return Some(Arc::clone(a));
    }
    if unchanged(a) {
        return Some(Arc::clone(b));
    }
    let both = healthy.iter().zip(a.iter()).zip(b.iter());
    both.map(|((h, x), y)| match (same(x, h), same(y, h)) {
        (_, true) => Some(*x),
        (true, false) => Some(*y),
        (false, false) => None,
    })
    .collect()
}
