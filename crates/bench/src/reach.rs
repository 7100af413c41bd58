//! What a fault can reach: which parts an input's value can depend on; and, per fault mode, what it does at most ([`crate::modes`]).
//!
//! Worked out once a machine, from samples of what its parts do.

use crate::bits::Bits;
use crate::modes::{alike, off_mains, only_misreads, samples, stands_for, takes_away};
use circuit::end_of;
use machine::kind::{Branch, Path, Situation};
use machine::model::{Machine, NodeId, Part, PartId, Senses, node};
use std::sync::Arc;

/// What depends on what.
pub(crate) struct Reach {
    /// Per input: what its value can depend on.
    pub(crate) behind_input: Vec<Behind>,
    /// Parts behind the inputs that watch volts: these read in every instant.
    pub(crate) behind_volts: Bits,
    /// Per output: what the phases that reach its motor can depend on; none where it has no motor.
    pub(crate) behind_output: Vec<Option<Behind>>,
    /// Per part and mode: does the fault only take away?
    pub(crate) takes_away: Vec<Vec<bool>>,
    /// Per part and mode: does the fault only make a board misread ohms?
    pub(crate) only_misreads: Vec<Vec<bool>>,
    /// Per part and mode: does the fault open and close only ways that the sound part opens and closes too, and that no way joins
    /// to the mains? None where not; else the nodes that its ways can come to join.
    pub(crate) off_mains: Vec<Vec<Option<Arc<Bits>>>>,
    /// Per part and mode: the first of its modes that behaves the same in this machine; healthy, if no step shows it.
    pub(crate) stands_for: Vec<Vec<Option<usize>>>,
}

/// What ohms between some nodes, and what is made of them, can depend on.
#[derive(Clone)]
pub(crate) struct Behind {
    /// Parts whose paths can lie between its pins, what is watched, and what they sense through.
    pub(crate) parts: Bits,
    /// Parts whose paths can lie between its pins.
    pub(crate) on_the_way: Bits,
    /// Nodes joined to its pins by any paths: a path that a fault adds matters only if it ends at one of them.
    pub(crate) island: Bits,
    /// Parts with a terminal at one of those nodes: with such an added path, any of them may come to lie on the way.
    pub(crate) around: Bits,
    /// Its ohms change with what is driven, locked or moving.
    pub(crate) by_drive: bool,
    /// What the part read over it reports changes with temperature.
    pub(crate) senses_temperature: bool,
}

impl Reach {
    pub(crate) fn new(machine: &Machine) -> Reach {
        let paths = edges(machine);
        let off_neutral = without_neutral(machine, &paths);
        let terminals = |part: PartId| machine.parts[part].terminals.iter().flatten().copied();
        let behind_input: Vec<Behind> = machine
            .inputs
            .iter()
            .map(|input| match &input.senses {
                // A point that loses its way to line reads nought; one that loses its way to neutral read nought before.
                Senses::Volts { node: at, .. } => {
                    let ends = [*at, node::LINE];
                    Behind::new(machine, &paths, &ends, between(machine, &off_neutral, &ends))
                }
                Senses::Ohms(a, b) | Senses::Contact(a, b) => {
                    Behind::new(machine, &paths, &[*a, *b], between(machine, &paths, &[*a, *b]))
                }
                Senses::Part { part, pins } => {
                    let ends: Vec<usize> = pins.iter().copied().chain(terminals(*part)).collect();
                    let mut behind = Behind::new(machine, &paths, &ends, between(machine, &paths, &ends));
                    for part in std::iter::once(*part).chain(machine.parts[*part].watches) {
                        behind.parts.insert(part);
                        machine.parts[part].through.iter().for_each(|&p| behind.parts.insert(p));
                    }
                    behind.senses_temperature = senses_temperature(machine, &machine.parts[*part]);
                    behind
                }
            })
            .collect();
        let mut behind_volts = Bits::none(machine.parts.len());
        for (input, behind) in machine.inputs.iter().zip(&behind_input) {
            if let Senses::Volts { .. } = input.senses {
                behind_volts.join(&behind.parts);
            }
        }
        let behind_output = machine
            .outputs
            .iter()
            .map(|output| {
                let motor = output.motor?;
                let ends = phase_pins(machine, output.part)?;
                let mut behind = Behind::new(machine, &paths, &ends, between(machine, &paths, &ends));
                behind.parts.insert(motor);
                Some(behind)
            })
            .collect();
        Reach {
            behind_input,
            behind_volts,
            behind_output,
            takes_away: takes_away(machine),
            only_misreads: only_misreads(machine),
            off_mains: off_mains(machine, &paths),
            stands_for: stands_for(machine),
        }
    }
}

/// The nodes of an inverter's three phases.
pub(crate) fn phase_pins(machine: &Machine, inverter: PartId) -> Option<[NodeId; 3]> {
    let part = &machine.parts[inverter];
    let pin =
        |name: &str| part.kind.terminals.iter().position(|t| t.name == name).and_then(|i| part.terminals[i]);
    Some([pin("u")?, pin("v")?, pin("w")?])
}

impl Behind {
    /// Between these nodes, whatever the machine does.
    pub(crate) fn between(machine: &Machine, paths: &[Edge], ends: &[NodeId]) -> Behind {
        Behind::new(machine, paths, ends, between(machine, paths, ends))
    }

    fn new(machine: &Machine, paths: &[Edge], ends: &[NodeId], found: Vec<PartId>) -> Behind {
        let mut on_the_way = Bits::none(machine.parts.len());
        for part in found {
            on_the_way.insert(part);
        }
        let mut parts = on_the_way.clone();
        for &part in on_the_way.iter().flat_map(|p| &machine.parts[p].through) {
            parts.insert(part);
        }
        let island = joined(machine, paths, ends);
        let mut around = Bits::none(machine.parts.len());
        for (id, part) in machine.parts.iter().enumerate() {
            if part.terminals.iter().flatten().any(|&n| island.has(n)) {
                around.insert(id);
            }
        }
        let all = || on_the_way.iter().map(|p| &machine.parts[p]);
        let by_drive = all().any(|p| by_drive(machine, p));
        Behind { parts, on_the_way, island, around, by_drive, senses_temperature: false }
    }
}

/// All nodes that some paths join to these.
pub(crate) fn joined(machine: &Machine, paths: &[Edge], ends: &[NodeId]) -> Bits {
    let mut island = Bits::none(machine.nodes.len());
    for &end in ends {
        island.insert(end);
    }
    while let Some(&(a, b, _)) = paths.iter().find(|e| island.has(e.0) != island.has(e.1)) {
        island.insert(a);
        island.insert(b);
    }
    island
}

/// What an ohmmeter sees of a part in these circumstances, in each of its modes.
fn ohms_of(part: &Part, situation: &Situation) -> Vec<(&'static str, &'static str, Path)> {
    let mut branches = Vec::new();
    for mode in std::iter::once(None).chain(part.kind.modes.iter().map(|m| Some(m.name))) {
        part.kind.behaviour.electrics(&part.params, mode, situation, &mut branches);
    }
    branches.iter().map(|b| (b.from, b.to, b.dc)).collect()
}

fn by_drive(machine: &Machine, part: &Part) -> bool {
    let rest = rest(machine);
    let at_rest = ohms_of(part, &rest);
    (1..8).any(|n| {
        let driven = n & 1 != 0;
        let wanted_rpm = if driven { 50.0 } else { 0.0 };
        at_rest
            != ohms_of(
                part,
                &Situation { driven, wanted_rpm, moving: n & 2 == 0, locked: n & 4 != 0, ..rest },
            )
    })
}

fn senses_temperature(machine: &Machine, part: &Part) -> bool {
    std::iter::once(None).chain(part.kind.modes.iter().map(|m| Some(m.name))).any(|mode| {
        let reports = |temperature_c| {
            let situation = Situation { temperature_c, level_l: 5.0, speed_rpm: 50.0, ..rest(machine) };
            part.kind.behaviour.sense(&part.params, mode, &situation)
        };
        TEMPERATURES_C.iter().any(|&t| reports(t) != reports(20.0))
    })
}

/// Levels at which a part is asked whether it depends on water, l.
pub(crate) const LEVELS_L: [f64; 14] =
    [0.0, 1e-3, 0.3, 1.0, 2.0, 4.0, 7.0, 10.0, 15.0, 22.0, 32.0, 48.0, 80.0, 200.0];

/// Temperatures at which a part is asked whether it depends on them, °C.
pub(crate) const TEMPERATURES_C: [f64; 14] =
    [-20.0, 5.0, 20.0, 30.0, 42.0, 55.0, 68.0, 82.0, 95.0, 110.0, 140.0, 180.0, 240.0, 300.0];

/// A part at rest.
pub(crate) fn rest(machine: &Machine) -> Situation {
    Situation {
        rated_v: machine.plate.supply_v,
        hz: machine.plate.supply_hz,
        driven: false,
        wanted_rpm: 0.0,
        moving: true,
        locked: false,
        level_l: 0.0,
        temperature_c: 20.0,
        speed_rpm: 0.0,
        demand_w: 0.0,
        demand_u_w: 0.0,
        drag: 1.0,
    }
}

/// A path that some part, in some circumstances, puts between two nodes; joints belong to no part.
pub(crate) type Edge = (usize, usize, Option<PartId>);

/// All paths of the healthy machine.
pub(crate) fn edges(machine: &Machine) -> Vec<Edge> {
    let mut edges: Vec<Edge> = machine.joints.iter().map(|j| (j.inner, j.outer, None)).collect();
    let mut ends: Vec<Vec<(&str, &str)>> = Vec::with_capacity(machine.parts.len());
    for (id, first) in alike(machine).into_iter().enumerate() {
        let part = &machine.parts[id];
        let found = if first == id { branch_ends(machine, part) } else { ends[first].clone() };
        for (from, to) in &found {
            if let (Some(a), Some(b)) = (end_of(part, from), end_of(part, to)) {
                edges.push((a, b, Some(id)));
            }
        }
        ends.push(found);
    }
    edges
}

/// The ends between which a healthy part puts a path in some circumstances.
pub(crate) fn branch_ends(machine: &Machine, part: &Part) -> Vec<(&'static str, &'static str)> {
    let (mut found, mut branches) = (Vec::new(), Vec::new());
    for situation in samples(machine) {
        branches.clear();
        part.kind.behaviour.electrics(&part.params, None, &situation, &mut branches);
        for branch in branches.iter().filter(|b: &&Branch| b.dc != Path::Open || b.ac != Path::Open) {
            if !found.contains(&(branch.from, branch.to)) {
                found.push((branch.from, branch.to));
            }
        }
    }
    found
}

/// Ohms up to which a path that is always there counts as joining: wires, a filter's choke.
const JOINS_UP_TO_OHM: f64 = 5.0;

/// The paths that do not touch what is joined to neutral in every situation.
fn without_neutral(machine: &Machine, edges: &[Edge]) -> Vec<Edge> {
    let mut neutral = vec![false; machine.nodes.len()];
    neutral[node::NEUTRAL] = true;
    let joined: Vec<Edge> = edges.iter().filter(|e| always_joins(machine, e)).copied().collect();
    while let Some(&(a, b, _)) = joined.iter().find(|e| neutral[e.0] != neutral[e.1]) {
        (neutral[a], neutral[b]) = (true, true);
    }
    edges.iter().filter(|e| !neutral[e.0] && !neutral[e.1]).copied().collect()
}

fn always_joins(machine: &Machine, &(a, b, part): &Edge) -> bool {
    let Some(part) = part.map(|p| &machine.parts[p]) else { return true };
    let mut branches = Vec::new();
    samples(machine).all(|situation| {
        branches.clear();
        part.kind.behaviour.electrics(&part.params, None, &situation, &mut branches);
        branches.iter().any(|branch| {
            let ends = (end_of(part, branch.from), end_of(part, branch.to));
            let low = match branch.ac {
                Path::Closed => true,
                Path::Ohms { r, x } => r.hypot(x) <= JOINS_UP_TO_OHM,
                Path::Open => false,
            };
            ends == (Some(a), Some(b)) && low
        })
    })
}

/// Parts with a path that can lie between some of these nodes: what is left of the edges in reach when blind ends,
/// which lead to none of them, are cut back.
fn between(machine: &Machine, edges: &[Edge], ends: &[usize]) -> Vec<PartId> {
    let mut left: Vec<Edge> = edges.to_vec();
    loop {
        let mut degree = vec![0_usize; machine.nodes.len()];
        for &(a, b, _) in &left {
            degree[a] += 1;
            degree[b] += 1;
        }
        let before = left.len();
        left.retain(|&(a, b, _)| [a, b].iter().all(|n| degree[*n] > 1 || ends.contains(n)));
        if left.len() == before {
            break;
        }
    }
    let mut reached = vec![false; machine.nodes.len()];
    for &end in ends {
        reached[end] = true;
    }
    while let Some(&(a, b, _)) = left.iter().find(|e| reached[e.0] != reached[e.1]) {
        (reached[a], reached[b]) = (true, true);
    }
    let mut parts: Vec<PartId> = left.iter().filter(|e| reached[e.0]).filter_map(|e| e.2).collect();
    parts.sort_unstable();
    parts.dedup();
    parts
}
