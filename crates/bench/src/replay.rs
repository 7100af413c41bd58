//! An instant with one more fault that leaves all currents as they are: from the rounds of the instant without it.
//!
//! A valve that leaks, a hose that is off, a board that misreads: the network stays what it was. A wire that is chafed where it
//! carries no volts, a contact welded behind an element that is open: there is one way more or less, and nothing would flow in it,
//! so that the currents, being unique, stay. As long as that is so round by round, and nothing that the parts do that know of the
//! fault makes another round necessary, only their own effects are worked out anew. Where that fails, the instant is solved
//! ([`crate::shared`]).

use crate::moment::{Moment, chain, held};
use crate::superpose::{Round, Rounds, SAME_BELOW_A, SAME_BELOW_V};
use circuit::{Complex64, end_of};
use machine::kind::{Branch, Effect, Flows, Medium, Path};
use machine::model::{Input, Machine, NodeId, Part, PartId, Senses};
use std::sync::Arc;

/// The instant, and the parts that know of the fault: its own, and those that something passes through it.
#[derive(Default)]
pub(crate) struct Replayed {
    pub(crate) moment: Moment,
    /// Of these, those whose circumstances changed; the part itself is among them.
    pub(crate) altered: Vec<PartId>,
    /// Of these, those that did something in some round.
    pub(crate) did: Vec<PartId>,
    /// Of these, those whose branches differ.
    pub(crate) rewired: Vec<PartId>,
    /// Ends of the ways that there are more.
    pub(crate) closed_ends: Vec<NodeId>,
    /// Nodes that may have come to have a potential, having had none.
    pub(crate) joined: Vec<NodeId>,
}

/// The modes of all parts without the fault and with it.
#[derive(Clone, Copy)]
pub(crate) struct Modes<'a> {
    pub(crate) before: &'a [Option<usize>],
    pub(crate) with: &'a [Option<usize>],
}

/// The instant with the faulty part's new mode at this water level, l; none where a current changes or it cannot be told.
/// [`Moment::conclude`] is still to be called.
pub(crate) fn replay(
    machine: &Machine,
    fault: PartId,
    modes: Modes<'_>,
    level_l: f64,
    rounds: &Rounds,
    base: &Moment,
) -> Option<Replayed> {
    if !rounds.settled {
        return None;
    }
    let parts = machine.parts.iter().enumerate();
    let knows: Vec<PartId> =
        parts.filter(|(id, p)| *id == fault || p.through.contains(&fault)).map(|(id, _)| id).collect();
    // What hangs together with an inverter is more than its own effect.
    let on_inverter = |&id: &PartId| {
        machine.outputs.iter().any(|o| o.motor.is_some_and(|motor| motor == id || o.part == id))
    };
    if knows.iter().any(on_inverter) {
        return None;
    }
    let mut scratch = Scratch::default();
    let mut made = Replayed { moment: base.clone(), altered: vec![fault], ..Replayed::default() };
    for id in knows {
        let mut last = Effect::default();
        scratch.rewired = false;
        for round in rounds.all() {
            let (now, before) = scratch.effects(machine, id, modes, level_l, round)?;
            if scratch.joins {
                // Two ways to nodes without potential might be one through them.
                let watched = |n: NodeId| {
                    let at = |i: &Input| matches!(i.senses, Senses::Volts { node, .. } if node == n);
                    machine.inputs.iter().any(at)
                };
                if !made.rewired.is_empty() || round.floating().any(watched) {
                    return None;
                }
                made.joined.extend(round.floating());
            }
            let part = machine.parts[id].kind.behaviour;
            if part.has_bolt() && now.locks != before.locks || part.can_stall() && now.runs != before.runs {
                return None;
            }
            if now != Effect::default() && !made.did.contains(&id) {
                made.did.push(id);
            }
            last = now;
        }
        let is_read =
            || machine.inputs.iter().any(|i| matches!(i.senses, Senses::Part { part, .. } if part == id));
        if scratch.altered && is_read() {
            return None;
        }
        if scratch.altered && id != fault {
            made.altered.push(id);
        }
        if scratch.rewired {
            made.rewired.push(id);
        }
        let doing = &mut made.moment.doing;
        let at = doing.partition_point(|d| d.0 < id);
        if doing.get(at).is_some_and(|d| d.0 == id) {
            doing.remove(at);
        }
        if last != Effect::default() {
            doing.insert(at, (id, Arc::new(last)));
        }
    }
    made.closed_ends = scratch.closed_ends;
    Some(made)
}

/// Work space.
#[derive(Default)]
struct Scratch {
    now: Vec<Branch>,
    before: Vec<Branch>,
    flows: Flows,
    /// The circumstances of the part at hand are others with the fault.
    altered: bool,
    /// Its branches are others with the fault, in some round.
    rewired: bool,
    /// A way more leads to a node without potential, in the round at hand.
    joins: bool,
    /// Ends of the ways that there are more.
    closed_ends: Vec<NodeId>,
}

impl Scratch {
    /// What a part does in a round with the fault and without it; none where a current changes.
    fn effects(
        &mut self,
        machine: &Machine,
        id: PartId,
        modes: Modes<'_>,
        level_l: f64,
        round: &Round,
    ) -> Option<(Effect, Effect)> {
        let part = &machine.parts[id];
        let before = round.situation(id);
        let mut now = *before;
        if !part.through.is_empty() {
            let load = |medium| chain(machine, modes.with, id, medium).load;
            now.drag = load(Medium::Motion) * load(Medium::Water) * load(Medium::Air);
            now.level_l = level_l * chain(machine, modes.with, id, Medium::Pressure).factor;
        }
        self.altered = now != *before;
        let name = |modes: &[Option<usize>]| modes[id].map(|m| part.kind.modes[m].name);
        let (is, was) = (name(modes.with), name(modes.before));
        self.now.clear();
        self.before.clear();
        part.kind.behaviour.electrics(&part.params, is, &now, &mut self.now);
        part.kind.behaviour.electrics(&part.params, was, before, &mut self.before);
        self.keeps_currents(part, id, round)?;
        let amps = |b: &Branch| {
            let place = self.before.iter().position(|before| alike(before, b));
            place.map_or_else(Complex64::default, |place| round.amps(id)[place])
        };
        take_flows(&self.now, amps, &mut self.flows);
        let mut effect = part.kind.behaviour.effect(&part.params, is, &now, &self.flows);
        held(machine, modes.with, id, &mut effect);
        take_flows(&self.before, amps, &mut self.flows);
        let mut without = part.kind.behaviour.effect(&part.params, was, before, &self.flows);
        held(machine, modes.before, id, &mut without);
        Some((effect, without))
    }

    /// Do the currents of a round stay, with these branches of a part in place of those before? What there is no more must have
    /// carried nothing; in what there is more, nothing may flow: between nodes of one potential, or to nodes that have none.
    fn keeps_currents(&mut self, part: &Part, id: PartId, round: &Round) -> Option<()> {
        self.joins = false;
        let amps = round.amps(id);
        if amps.len() != self.before.len() {
            return None;
        }
        let there = |b: &Branch, among: &[Branch]| among.iter().any(|other| alike(b, other));
        if self.now.len() == amps.len() && self.now.iter().all(|b| there(b, &self.before)) {
            return Some(());
        }
        self.rewired = true;
        // What is cut off by an open way would lose its potential.
        let still = |b: &Branch| {
            let joins = |now: &Branch| (now.from, now.to) == (b.from, b.to) && now.ac != Path::Open;
            b.ac == Path::Open || self.now.iter().any(joins)
        };
        let mut gone = self.before.iter().zip(amps).filter(|(b, _)| !there(b, &self.now));
        if gone.any(|(b, amps)| amps.l1_norm() > SAME_BELOW_A || !still(b)) {
            return None;
        }
        for branch in self.now.iter().filter(|b| b.ac != Path::Open && !there(b, &self.before)) {
            let (Some(from), Some(to)) = (end_of(part, branch.from), end_of(part, branch.to)) else {
                continue;
            };
            match (round.potential(from), round.potential(to)) {
                // Among ways without ohms alone, currents would be shared out anew.
                (Some(a), Some(b)) if branch.ac == Path::Closed || (a - b).l1_norm() > SAME_BELOW_V => {
                    return None;
                }
                (Some(_), Some(_)) => {}
                _ if self.joins => return None,
                _ => self.joins = true,
            }
            self.closed_ends.extend([from, to]);
        }
        Some(())
    }
}

/// Are two branches the same to the mains? What an ohmmeter sees of them makes no difference to it.
fn alike(a: &Branch, b: &Branch) -> bool {
    Branch { dc: b.dc, u_rel: b.u_rel, ..*a } == *b
}

/// Flows from the currents: only what has ohms drops any volts.
fn take_flows(branches: &[Branch], amps: impl Fn(&Branch) -> Complex64, flows: &mut Flows) {
    let Flows { volts, amps: all, watts, phases } = flows;
    volts.clear();
    all.clear();
    watts.clear();
    *phases = 0;
    for branch in branches {
        let amps = amps(branch);
        let drop = match branch.ac {
            Path::Ohms { r, x } if amps.l1_norm() > 0.0 => amps * Complex64::new(r, x),
            _ => Complex64::new(0.0, 0.0),
        };
        volts.push(drop.norm_sqr().sqrt());
        all.push((amps.re, amps.im));
        watts.push((drop * amps.conj()).re);
    }
}
