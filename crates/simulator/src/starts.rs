//! What hangs on each output, and how it behaves at switch-on.
//!
//! The wiring is walked from the output's contact over wires, plugs and closed contacts up to the first parts that
//! take power. What those do cold or standing still, the kind of part itself says: its ohms dead against its ohms at
//! work, its draw standing against running.

use crate::specimen::at_rest;
use machine::kind::{Branch, Flows, Path, Situation};
use machine::model::{Machine, NodeId, OutputId, Part, PartId, node};

/// Power above which the cold draw of a lock is a pulse into a coil and not a warming ceramic, W. Common practice, no
/// source.
const PULSE_FROM_W: f64 = 100.0;

/// A cold resistance this much below the hot one is a ceramic that regulates itself, not a wire.
const CERAMIC_FROM: f64 = 1.5;

/// A motor's start takes at most so many times its running power at the mains, as a one-second meter can see it.
/// Common practice, no source.
const START_AT_MOST: f64 = 6.0;

/// How long the start of each sort of load is felt (time constant, s). Common practice, no source.
mod tau {
    /// A motor that must come up to speed.
    pub(super) const MOTOR: f64 = 0.25;
    /// A pump or fan.
    pub(super) const PUMP: f64 = 0.2;
    /// The ceramic of a door lock: "a click within a few seconds".
    pub(super) const LOCK: f64 = 2.5;
    /// A coil's pulse.
    pub(super) const PULSE: f64 = 0.1;
    /// A rod's wire.
    pub(super) const ROD: f64 = 4.0;
    /// Ceramic stones and wax actuators.
    pub(super) const STONES: f64 = 18.0;
    /// A filament or anything else that is small.
    pub(super) const SMALL: f64 = 0.08;
}

/// One load on an output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Start {
    /// Power at work at the rated voltage, W.
    pub(crate) at_work_w: f64,
    /// More than that at switch-on, cold, W.
    pub(crate) extra_w: f64,
    /// Time constant with which that dies away, s.
    pub(crate) tau_s: f64,
    /// It has moving parts, so that its draw ripples.
    pub(crate) moves: bool,
}

/// The loads of each output.
pub(crate) fn starts(machine: &Machine) -> Vec<Vec<Start>> {
    let walk = Walk::new(machine);
    let common = walk.from(&[node::LINE, node::NEUTRAL, node::EARTH, node::CHASSIS], &[]);
    (0..machine.outputs.len()).map(|output| walk.loads(output, &common)).collect()
}

struct Walk<'m> {
    machine: &'m Machine,
    /// Branches of every part, healthy and locked, nothing driven.
    branches: Vec<Vec<Branch>>,
    switches: Vec<bool>,
}

impl<'m> Walk<'m> {
    fn new(machine: &'m Machine) -> Walk<'m> {
        let mut branches = Vec::new();
        for part in &machine.parts {
            let mut out = Vec::new();
            part.kind.behaviour.electrics(&part.params, None, &at_work(machine), &mut out);
            branches.push(out);
        }
        let mut switches = vec![false; machine.parts.len()];
        for output in &machine.outputs {
            switches[output.part] = true;
        }
        Walk { machine, branches, switches }
    }

    /// All nodes joined to these by nothing but metal, without going over the parts `but`.
    fn from(&self, start: &[NodeId], but: &[NodeId]) -> Vec<NodeId> {
        let mut reached = start.to_vec();
        let mut at = 0;
        while let Some(&here) = reached.get(at) {
            at += 1;
            let mut neighbours: Vec<NodeId> = Vec::new();
            for joint in &self.machine.joints {
                neighbours.extend(other_end(here, joint.inner, joint.outer));
            }
            for (id, part) in self.machine.parts.iter().enumerate().filter(|(id, _)| !self.switches[*id]) {
                for branch in self.branches[id].iter().filter(|b| b.ac == Path::Closed) {
                    if let (Some(a), Some(b)) = (end(part, branch.from), end(part, branch.to)) {
                        neighbours.extend(other_end(here, a, b));
                    }
                }
            }
            for next in neighbours {
                if !reached.contains(&next) && !but.contains(&next) {
                    reached.push(next);
                }
            }
        }
        reached
    }

    fn loads(&self, output: OutputId, common: &[NodeId]) -> Vec<Start> {
        let machine = self.machine;
        let switch = &machine.parts[machine.outputs[output].part];
        let side: Vec<NodeId> =
            switch.terminals.iter().flatten().copied().filter(|n| !common.contains(n)).collect();
        let reached = self.from(&side, common);
        let mut found: Vec<Start> = Vec::new();
        let motor = machine.outputs[output].motor;
        for (id, part) in machine.parts.iter().enumerate().filter(|(id, _)| !self.switches[*id]) {
            let touches = |b: &&Branch| {
                [b.from, b.to].iter().any(|n| end(part, n).is_some_and(|n| reached.contains(&n)))
            };
            for branch in self.branches[id].iter().filter(touches) {
                found.extend(self.start(id, branch));
            }
            // A motor's windings lie in series with its switches; the whole of it starts at once.
            if motor == Some(id) && found.is_empty() {
                found.extend(self.branches[id].iter().filter_map(|b| self.start(id, b)));
            }
        }
        found
    }

    fn start(&self, id: PartId, branch: &Branch) -> Option<Start> {
        let machine = self.machine;
        let part = &machine.parts[id];
        let Path::Ohms { r, x } = branch.ac else { return None };
        let rated_v = machine.plate.supply_v;
        let at_work_w = rated_v * rated_v * r / (r * r + x * x);
        let effect = {
            let branches = &self.branches[id];
            let amps = |b: &Branch| match b.ac {
                Path::Ohms { r, x } => rated_v / r.hypot(x),
                _ => 0.0,
            };
            let flows = Flows {
                volts: branches.iter().map(|_| rated_v).collect(),
                amps: branches.iter().map(|b| (amps(b), 0.0)).collect(),
                watts: branches.iter().map(|b| if b.name == branch.name { at_work_w } else { 0.0 }).collect(),
                phases: 3,
            };
            part.kind.behaviour.effect(&part.params, None, &at_work(machine), &flows)
        };
        let moves = part.kind.behaviour.can_stall() || effect.runs;
        let cold = match branch.dc {
            Path::Ohms { r: cold, .. } if x == 0.0 && cold < r => r / cold,
            _ => 1.0,
        };
        let (extra_w, tau_s) = if part.kind.behaviour.can_stall() {
            let standing = self.standing_w(part, branch.name).unwrap_or(at_work_w);
            ((standing - at_work_w).clamp(0.0, START_AT_MOST * at_work_w), tau::MOTOR)
        } else if moves {
            (0.4 * at_work_w, tau::PUMP)
        } else {
            let extra_w = at_work_w * (cold - 1.0);
            let tau_s = match (effect.locks, effect.heat_w > 0.0) {
                (true, _) if extra_w > PULSE_FROM_W => tau::PULSE,
                (true, _) => tau::LOCK,
                (_, true) if cold > CERAMIC_FROM => tau::STONES,
                (_, true) => tau::ROD,
                _ => tau::SMALL,
            };
            (extra_w, tau_s)
        };
        Some(Start { at_work_w, extra_w, tau_s, moves })
    }

    /// What a branch of a motor takes while the motor stands, W.
    fn standing_w(&self, part: &Part, branch: &str) -> Option<f64> {
        let mut out = Vec::new();
        let standing = Situation { moving: false, ..at_work(self.machine) };
        part.kind.behaviour.electrics(&part.params, None, &standing, &mut out);
        let rated_v = self.machine.plate.supply_v;
        out.iter().find(|b| b.name == branch).and_then(|b| match b.ac {
            Path::Ohms { r, x } => Some(rated_v * rated_v * r / (r * r + x * x)),
            _ => None,
        })
    }
}

fn at_work(machine: &Machine) -> Situation {
    Situation { driven: true, wanted_rpm: 50.0, level_l: 5.0, ..at_rest(machine) }
}

fn other_end(here: NodeId, a: NodeId, b: NodeId) -> Option<NodeId> {
    if here == a {
        Some(b)
    } else if here == b {
        Some(a)
    } else {
        None
    }
}

/// The node of a branch's end.
fn end(part: &Part, name: &str) -> Option<NodeId> {
    match name {
        machine::kind::SUPPLY_LINE => Some(node::LINE),
        machine::kind::SUPPLY_NEUTRAL => Some(node::NEUTRAL),
        machine::kind::SUPPLY_EARTH => Some(node::EARTH),
        machine::kind::CHASSIS => Some(node::CHASSIS),
        _ => part.terminals.get(part.kind.terminals.iter().position(|t| t.name == name)?).copied().flatten(),
    }
}
