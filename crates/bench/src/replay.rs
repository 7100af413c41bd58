//! An instant with one more fault that changes no path: from the rounds of the instant without it.
//!
//! A valve that leaks, a hose that is off, a board that misreads: the network stays what it was, and so do all currents. As long
//! as every branch of the parts that know of the fault is as before, round by round, and nothing that they do makes another
//! round necessary, only their own effects are worked out anew. Where that fails, the instant is solved
//! ([`crate::shared`]).

use crate::moment::{Moment, chain, held};
use crate::superpose::Rounds;
use circuit::Complex64;
use machine::kind::{Branch, Effect, Flows, Medium, Path, Situation};
use machine::model::{Machine, PartId, Senses};
use std::sync::Arc;

/// The instant, and the parts that know of the fault: its own, and those that something passes through it.
pub(crate) struct Replayed {
    pub(crate) moment: Moment,
    /// Of these, those whose circumstances changed; the part itself is among them.
    pub(crate) altered: Vec<PartId>,
    /// Of these, those that did something in some round.
    pub(crate) did: Vec<PartId>,
}

/// The modes of all parts without the fault and with it.
#[derive(Clone, Copy)]
pub(crate) struct Modes<'a> {
    pub(crate) before: &'a [Option<usize>],
    pub(crate) with: &'a [Option<usize>],
}

/// The instant with the faulty part's new mode; none where a path changes or it cannot be told. [`Moment::conclude`] is still
/// to be called.
pub(crate) fn replay(
    machine: &Machine,
    fault: PartId,
    modes: Modes<'_>,
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
    let mut made = Replayed { moment: base.clone(), altered: vec![fault], did: Vec::new() };
    let mut scratch = Scratch::default();
    for id in knows {
        let mut last = Effect::default();
        for round in rounds.all() {
            let (now, before) = scratch.effects(machine, id, modes, round.situation(id), round.amps(id))?;
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
        let doing = &mut made.moment.doing;
        let at = doing.partition_point(|d| d.0 < id);
        if doing.get(at).is_some_and(|d| d.0 == id) {
            doing.remove(at);
        }
        if last != Effect::default() {
            doing.insert(at, (id, Arc::new(last)));
        }
    }
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
}

impl Scratch {
    /// What a part does in a round with the fault and without it; none where its branches differ.
    fn effects(
        &mut self,
        machine: &Machine,
        id: PartId,
        modes: Modes<'_>,
        before: &Situation,
        amps: &[Complex64],
    ) -> Option<(Effect, Effect)> {
        let part = &machine.parts[id];
        let mut now = *before;
        if !part.through.is_empty() {
            let through = |modes: &[Option<usize>]| {
                let load = |medium| chain(machine, modes, id, medium).load;
                let drag = load(Medium::Motion) * load(Medium::Water) * load(Medium::Air);
                (drag, chain(machine, modes, id, Medium::Pressure).factor)
            };
            let (was, is) = (through(modes.before), through(modes.with));
            // Another level is known by more than this part's effect.
            if was.1 != is.1 {
                return None;
            }
            now.drag = is.0;
        }
        self.altered = now != *before;
        let name = |modes: &[Option<usize>]| modes[id].map(|m| part.kind.modes[m].name);
        let (is, was) = (name(modes.with), name(modes.before));
        self.now.clear();
        self.before.clear();
        part.kind.behaviour.electrics(&part.params, is, &now, &mut self.now);
        part.kind.behaviour.electrics(&part.params, was, before, &mut self.before);
        if self.now != self.before || amps.len() != self.now.len() {
            return None;
        }
        self.take_flows(amps);
        let mut effect = part.kind.behaviour.effect(&part.params, is, &now, &self.flows);
        held(machine, modes.with, id, &mut effect);
        let mut without = part.kind.behaviour.effect(&part.params, was, before, &self.flows);
        held(machine, modes.before, id, &mut without);
        Some((effect, without))
    }

    /// Flows from the currents: only what has ohms drops any volts.
    fn take_flows(&mut self, amps: &[Complex64]) {
        let Flows { volts, amps: all, watts, phases } = &mut self.flows;
        volts.clear();
        all.clear();
        watts.clear();
        *phases = 0;
        for (branch, amps) in self.now.iter().zip(amps) {
            let drop = match branch.ac {
                Path::Ohms { r, x } if amps.l1_norm() > 0.0 => amps * Complex64::new(r, x),
                _ => Complex64::new(0.0, 0.0),
            };
            volts.push(drop.norm_sqr().sqrt());
            all.push((amps.re, amps.im));
            watts.push((drop * amps.conj()).re);
        }
    }
}
