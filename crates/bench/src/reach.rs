//! What a fault can reach: which parts an input's value can depend on, and which faults only take something away.
//!
//! Worked out once a machine, from samples of what its parts do.

use crate::bits::Bits;
use circuit::end_of;
use machine::kind::{Branch, Effect, Flows, Medium, Path, Role, Situation};
use machine::model::{Machine, NodeId, Part, PartId, Senses, node};

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
    /// Per part and mode: the first of its modes that behaves the same in this machine; healthy, if no step shows it.
    pub(crate) stands_for: Vec<Vec<Option<usize>>>,
}

/// What ohms between some nodes, and what is made of them, can depend on.
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
        let mut island = Bits::none(machine.nodes.len());
        for &end in ends {
            island.insert(end);
        }
        while let Some(&(a, b, _)) = paths.iter().find(|e| island.has(e.0) != island.has(e.1)) {
            island.insert(a);
            island.insert(b);
        }
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

/// Per part, the first that is of the same kind with the same parameters: wires are many, and all answer alike.
pub(crate) fn alike(machine: &Machine) -> Vec<PartId> {
    let mut firsts: Vec<PartId> = Vec::new();
    let mut found = Vec::with_capacity(machine.parts.len());
    for (id, part) in machine.parts.iter().enumerate() {
        let same = |&&first: &&PartId| {
            let other = &machine.parts[first];
            std::ptr::eq(other.kind, part.kind) && other.params == part.params
        };
        if let Some(&first) = firsts.iter().find(same) {
            found.push(first);
        } else {
            firsts.push(id);
            found.push(id);
        }
    }
    found
}

/// Flows from none to the full supply through each of so many branches.
fn sample_flows(machine: &Machine, branches: usize) -> Vec<Flows> {
    let rated_v = machine.plate.supply_v;
    let at = |share: f64, phases| Flows {
        volts: vec![share * rated_v; branches],
        amps: vec![(share * 5.0, 0.0); branches],
        watts: vec![share * share * 5.0 * rated_v; branches],
        phases,
    };
    // The two ends first: they are asked in all circumstances, the others at rest and driven only.
    [0.0, 1.0, 0.45, 0.65, 0.75, 0.9]
        .into_iter()
        .flat_map(|share| [3, 2, 0].map(|phases| at(share, phases)))
        .collect()
}

/// Per part and mode: the first mode that answers the same to everything.
fn stands_for(machine: &Machine) -> Vec<Vec<Option<usize>>> {
    let circumstances: Vec<Situation> = one_by_one(machine).collect();
    let mut known: Vec<Vec<Option<usize>>> = Vec::with_capacity(machine.parts.len());
    for (id, first) in alike(machine).into_iter().enumerate() {
        let part = &machine.parts[id];
        let stands = if first == id {
            let earlier = |mode: usize| std::iter::once(None).chain((0..mode).map(Some));
            let same = |mode: usize| {
                earlier(mode).find(|&e| answers_alike(machine, part, e, Some(mode), &circumstances))
            };
            (0..part.kind.modes.len()).map(|mode| same(mode).unwrap_or(Some(mode))).collect()
        } else {
            known[first].clone()
        };
        known.push(stands);
    }
    known
}

fn answers_alike(
    machine: &Machine,
    part: &Part,
    a: Option<usize>,
    b: Option<usize>,
    circumstances: &[Situation],
) -> bool {
    let behaviour = part.kind.behaviour;
    let name = |mode: Option<usize>| mode.map(|m| part.kind.modes[m].name);
    let (a, b) = (name(a), name(b));
    let media = [Medium::Motion, Medium::Water, Medium::Air, Medium::Pressure];
    let passes = |m| behaviour.passage(&part.params, a, m) == behaviour.passage(&part.params, b, m);
    if !media.into_iter().all(passes) {
        return false;
    }
    let mut branches = (Vec::new(), Vec::new());
    let mut flows: Vec<Flows> = Vec::new();
    circumstances.iter().enumerate().all(|(number, s)| {
        branches.0.clear();
        branches.1.clear();
        behaviour.electrics(&part.params, a, s, &mut branches.0);
        behaviour.electrics(&part.params, b, s, &mut branches.1);
        if flows.first().is_none_or(|f| f.volts.len() != branches.0.len()) {
            flows = sample_flows(machine, branches.0.len());
        }
        let tried = if number < BASES { flows.len() } else { 4 };
        branches.0 == branches.1
            && behaviour.sense(&part.params, a, s) == behaviour.sense(&part.params, b, s)
            && flows[..tried].iter().all(|flows| {
                behaviour.effect(&part.params, a, s, flows) == behaviour.effect(&part.params, b, s, flows)
            })
    })
}

/// How many of the circumstances are the starting points of the others.
const BASES: usize = 8;

/// Circumstances in which one thing after the other runs through its range, from each of the [`BASES`].
fn one_by_one(machine: &Machine) -> impl Iterator<Item = Situation> {
    let at_rest = rest(machine);
    let bases = (0..BASES).map(move |n| {
        let driven = n & 1 != 0;
        let wanted_rpm = if driven { 50.0 } else { 0.0 };
        Situation { driven, wanted_rpm, moving: n & 2 == 0, locked: n & 4 != 0, level_l: 5.0, ..at_rest }
    });
    let varied = bases.clone().flat_map(move |base| {
        let levels = (0..70).map(move |i| Situation { level_l: 0.7 * f64::from(i), ..base });
        let warm = (0..80).map(move |i| Situation { temperature_c: -20.0 + 4.0 * f64::from(i), ..base });
        let speeds = (-15..16).map(move |i| Situation {
            wanted_rpm: 103.0 * f64::from(i),
            speed_rpm: 103.0 * f64::from(i),
            ..base
        });
        let demands = (0..40).map(move |i| Situation { demand_w: 1.25_f64.powi(i) - 1.0, ..base });
        let drags = (0..10).map(move |i| Situation { drag: 0.3 * f64::from(i), ..base });
        levels.chain(warm).chain(speeds).chain(demands).chain(drags)
    });
    bases.chain(varied)
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
fn branch_ends(machine: &Machine, part: &Part) -> Vec<(&'static str, &'static str)> {
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

/// Circumstances that between them bring out all that a part can do.
fn samples(machine: &Machine) -> impl Iterator<Item = Situation> {
    let (rated_v, hz) = (machine.plate.supply_v, machine.plate.supply_hz);
    (0..64).map(move |n| Situation {
        rated_v,
        hz,
        driven: n & 1 != 0,
        wanted_rpm: if n & 1 != 0 { 50.0 } else { 0.0 },
        moving: n & 2 != 0,
        locked: n & 4 != 0,
        level_l: [0.0, 2.5, 6.0, 200.0][(n >> 3) & 3],
        temperature_c: if n & 32 != 0 { 60.0 } else { 20.0 },
        speed_rpm: 0.0,
        demand_w: 0.0,
        demand_u_w: 0.0,
        drag: 1.0,
    })
}

/// Per part and mode: does the fault only take away?
pub(crate) fn takes_away(machine: &Machine) -> Vec<Vec<bool>> {
    let contact_behind = |part: PartId| {
        machine.parts.iter().any(|q| {
            q.through.contains(&part)
                && q.kind.terminals.iter().any(|t| t.role == Role::Power)
                && closes_by_level(machine, q)
        })
    };
    let circumstances: Vec<Situation> = samples(machine).collect();
    let mut less: Vec<Vec<bool>> = Vec::with_capacity(machine.parts.len());
    for (id, first) in alike(machine).into_iter().enumerate() {
        let part = &machine.parts[id];
        let found = if first == id {
            part.kind.modes.iter().map(|m| circumstances.iter().all(|s| only_less(part, m.name, s))).collect()
        } else {
            less[first].clone()
        };
        less.push(found);
    }
    for (id, part) in machine.parts.iter().enumerate().filter(|(id, _)| contact_behind(*id)) {
        let pressure = |mode| part.kind.behaviour.passage(&part.params, mode, Medium::Pressure);
        for (mode, less) in part.kind.modes.iter().zip(&mut less[id]) {
            *less &= pressure(Some(mode.name)) == pressure(None);
        }
    }
    less
}

/// Does a part's contact depend on the water level?
fn closes_by_level(machine: &Machine, part: &Part) -> bool {
    let at = |level_l: f64| {
        let mut branches = Vec::new();
        for situation in samples(machine).take(1) {
            let situation = Situation { level_l, ..situation };
            part.kind.behaviour.electrics(&part.params, None, &situation, &mut branches);
        }
        branches
    };
    at(0.0) != at(200.0)
}

fn only_less(part: &Part, mode: &str, situation: &Situation) -> bool {
    let (mut healthy, mut faulty) = (Vec::new(), Vec::new());
    let behaviour = part.kind.behaviour;
    behaviour.electrics(&part.params, None, situation, &mut healthy);
    behaviour.electrics(&part.params, Some(mode), situation, &mut faulty);
    let less = |(h, f): (&Branch, &Branch)| {
        h.from == f.from && h.to == f.to && (h.ac == f.ac || (h.ac != Path::Open && f.ac != Path::Closed))
    };
    let silent = Flows {
        volts: vec![0.0; faulty.len()],
        amps: vec![(0.0, 0.0); faulty.len()],
        watts: vec![0.0; faulty.len()],
        phases: 0,
    };
    healthy.len() == faulty.len()
        && healthy.iter().zip(&faulty).all(less)
        && behaviour.effect(&part.params, Some(mode), situation, &silent) == Effect::default()
}
