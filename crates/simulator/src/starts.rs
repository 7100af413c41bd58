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

/// A drum's motor takes at least and at most so many times its running power more while it starts: it gains speed,
/// and a standing motor draws more. The board's soft start holds it back. Common practice, no source.
const KICK: (f64, f64) = (0.6, 3.0);

/// A pump or fan takes so much more while it starts, in proportion. Common practice, no source.
const PUMP_KICK: f64 = 0.4;

/// Leads and filters below this are metal to the eye that looks for loads, Ω.
const METAL_BELOW_OHM: f64 = 1.0;

/// How long the start of each sort of load is felt (time constant, s). Common practice, no source.
mod tau {
    /// A pump or fan.
    pub(super) const PUMP: f64 = 0.2;
    /// The ceramic of a door lock: "a click within a few seconds".
    pub(super) const LOCK: f64 = 1.5;
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

/// The loads of each output; motors that turn a drum are left to [`kicks`].
pub(crate) fn starts(machine: &Machine) -> Vec<Vec<Start>> {
    let walk = Walk::new(machine);
    let common = walk.from(&[node::LINE, node::NEUTRAL, node::EARTH, node::CHASSIS], &[]);
    (0..machine.outputs.len()).map(|output| walk.loads(output, &common)).collect()
}

/// For each output that drives a motor: how much more than its running power the motor takes at its start, in
/// proportion to it.
pub(crate) fn kicks(machine: &Machine) -> Vec<f64> {
    let watts = |part: &Part, moving: bool| -> Option<f64> {
        let mut out = Vec::new();
        let situation = Situation { moving, ..at_work(machine) };
        part.kind.behaviour.electrics(&part.params, None, &situation, &mut out);
        // The first winding stands for the whole motor: only the proportion counts.
        out.iter().find_map(|b| watts_of(b.ac, machine.plate.supply_v))
    };
    let kick = |motor: PartId| {
        let part = &machine.parts[motor];
        match (watts(part, false), watts(part, true)) {
            (Some(standing), Some(running)) if running > 0.0 => standing / running - 1.0,
            _ => 0.0,
        }
    };
    machine.outputs.iter().map(|o| o.motor.map_or(0.0, kick).clamp(KICK.0, KICK.1)).collect()
}

/// What a path takes at a voltage, W.
fn watts_of(path: Path, volts: f64) -> Option<f64> {
    match path {
        Path::Ohms { r, x } if r > 0.0 => Some(volts * volts * r / (r * r + x * x)),
        _ => None,
    }
}

/// A path of next to no ohms.
fn is_metal(path: Path) -> bool {
    match path {
        Path::Closed => true,
        Path::Ohms { r, x } => r.hypot(x) < METAL_BELOW_OHM,
        Path::Open => false,
    }
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
                for branch in self.branches[id].iter().filter(|b| is_metal(b.ac)) {
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
        for (id, part) in machine.parts.iter().enumerate() {
            if self.switches[id] || machine.outputs.iter().any(|o| o.motor == Some(id)) {
                continue;
            }
            let touches = |b: &&Branch| {
                [b.from, b.to].iter().any(|n| end(part, n).is_some_and(|n| reached.contains(&n)))
            };
            for branch in self.branches[id].iter().filter(touches) {
                found.extend(self.start(id, branch));
            }
        }
        found
    }

    fn start(&self, id: PartId, branch: &Branch) -> Option<Start> {
        let machine = self.machine;
        let part = &machine.parts[id];
        let rated_v = machine.plate.supply_v;
        let at_work_w = watts_of(branch.ac, rated_v).filter(|_| !is_metal(branch.ac))?;
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
        let cold = match (branch.ac, branch.dc) {
            (Path::Ohms { r, x }, Path::Ohms { r: cold, .. }) if x == 0.0 && cold < r => r / cold,
            _ => 1.0,
        };
        let (extra_w, tau_s) = if moves {
            (PUMP_KICK * at_work_w, tau::PUMP)
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test")]
    use super::*;

    fn shipped(name: &str) -> Machine {
        // The last variant has all that the others have.
        let variant = (name == "polwarren-cockle-52").then_some("Cockle 52 H");
        let path = format!("{}/../../machines/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        machine::read::read(&std::fs::read_to_string(path).unwrap(), variant).machine.unwrap()
    }

    fn of(machine: &Machine, output: &str) -> Vec<Start> {
        starts(machine).swap_remove(machine.outputs.iter().position(|o| o.name == output).unwrap())
    }

    #[test]
    fn an_output_is_found_to_feed_its_own_loads_and_no_others() {
        let washer = shipped("aldermere-tern-81");
        // Plate: element 1780 W, pump 28 W; the lock's ceramic 4.5 W warm and 230²/1100 = 48 W cold.
        let [rod] = of(&washer, "heat")[..] else { panic!("{:?}", of(&washer, "heat")) };
        assert!((rod.at_work_w - 1780.0).abs() < 1e-6 && (20.0..60.0).contains(&rod.extra_w) && !rod.moves);
        let [pump] = of(&washer, "empty")[..] else { panic!("{:?}", of(&washer, "empty")) };
        assert!((pump.at_work_w - 28.0).abs() < 1e-6 && pump.moves);
        let [lock] = of(&washer, "bolt")[..] else { panic!("{:?}", of(&washer, "bolt")) };
        assert!((lock.at_work_w + lock.extra_w - 48.09).abs() < 0.01, "{lock:?}");
        assert!(of(&washer, "drum").is_empty());
    }

    #[test]
    fn loads_switched_in_the_neutral_and_tapped_rods_are_found_too() {
        let wash = of(&shipped("saltreach-pilot-12"), "wash");
        assert_eq!(wash.iter().map(|s| s.at_work_w.round()).collect::<Vec<_>>(), [88.0]);
        let dryer = shipped("brinehaven-gannet-7");
        assert_eq!(of(&dryer, "rod-small").iter().map(|s| s.at_work_w.round()).collect::<Vec<_>>(), [880.0]);
        assert_eq!(of(&dryer, "rod-large").iter().map(|s| s.at_work_w.round()).collect::<Vec<_>>(), [1420.0]);
    }

    #[test]
    fn every_shipped_output_but_contacts_in_series_has_a_load_or_a_motor() {
        for name in ["aldermere-tern-81", "brinehaven-gannet-7", "polwarren-cockle-52", "saltreach-pilot-12"]
        {
            let machine = shipped(name);
            for (output, found) in machine.outputs.iter().zip(starts(&machine)) {
                // Changeovers of a motor's windings have no load of their own.
                let turns_over = machine.outputs.iter().any(|o| o.motor.is_some())
                    && machine.parts[output.part].kind.terminals.len() > 2;
                assert!(!found.is_empty() || output.motor.is_some() || turns_over, "{name} {}", output.name);
                assert!(found.iter().all(|s| s.at_work_w < 3000.0), "{name} {} {found:?}", output.name);
            }
        }
    }

    #[test]
    fn a_motor_that_can_stall_kicks_harder() {
        let kick = |name: &str| kicks(&shipped(name)).into_iter().fold(0.0, f64::max);
        assert_eq!(kick("aldermere-tern-81"), KICK.0);
        assert!(kick("brinehaven-gannet-7") > 1.0);
    }
}
