//! What each fault mode of a part does at most, found out by asking the part in all sorts of circumstances.
//!
//! Worked out once a machine; parts that are alike are asked once.

use crate::bits::Bits;
use crate::reach::{Edge, branch_ends, joined, rest};
use machine::kind::{Branch, Effect, Flows, Medium, Mode, Path, Role, Situation};
use machine::model::{Machine, NodeId, Part, PartId, node};
use std::sync::Arc;

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
pub(crate) fn stands_for(machine: &Machine) -> Vec<Vec<Option<usize>>> {
    let circumstances: Vec<Situation> = one_by_one(machine).collect();
    per_mode(machine, |part, mode| {
        let mut earlier = std::iter::once(None).chain((0..mode).map(Some));
        let same =
            |e: &Option<usize>| answers_alike(machine, part, (*e, Some(mode)), &circumstances, Effect::clone);
        earlier.find(same).unwrap_or(Some(mode))
    })
}

/// Per part and mode: does it answer as when sound, but for its misreading?
pub(crate) fn only_misreads(machine: &Machine) -> Vec<Vec<bool>> {
    let circumstances: Vec<Situation> = one_by_one(machine).collect();
    let but_for_that = |effect: &Effect| Effect { misreads: false, ..effect.clone() };
    per_mode(machine, |part, mode| {
        part.kind.behaviour.is_board()
            && answers_alike(machine, part, (None, Some(mode)), &circumstances, but_for_that)
    })
}

/// What holds of each mode of each part, found out once for all parts that are alike.
fn per_mode<T: Clone>(machine: &Machine, of: impl Fn(&Part, usize) -> T) -> Vec<Vec<T>> {
    let mut known: Vec<Vec<T>> = Vec::with_capacity(machine.parts.len());
    for (id, first) in alike(machine).into_iter().enumerate() {
        let part = &machine.parts[id];
        let found = match known.get(first) {
            Some(same) => same.clone(),
            None => (0..part.kind.modes.len()).map(|mode| of(part, mode)).collect(),
        };
        known.push(found);
    }
    known
}

fn answers_alike(
    machine: &Machine,
    part: &Part,
    (a, b): (Option<usize>, Option<usize>),
    circumstances: &[Situation],
    seen: impl Fn(&Effect) -> Effect,
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
                let effect = |mode| seen(&behaviour.effect(&part.params, mode, s, flows));
                effect(a) == effect(b)
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

/// Circumstances that between them bring out all that a part can do.
pub(crate) fn samples(machine: &Machine) -> impl Iterator<Item = Situation> {
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
    let mut less = per_mode(machine, |part, mode| {
        let mode = part.kind.modes[mode].name;
        circumstances.iter().all(|s| only_less(part, mode, s) && does_nothing(part, mode, s))
    });
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
    // A path that is not there is an open one.
    let less = |f: &Branch| {
        let h = healthy.iter().find(|h| (h.name, h.from, h.to) == (f.name, f.from, f.to));
        let before = h.map_or(Path::Open, |h| h.ac);
        before == f.ac || (before != Path::Open && f.ac != Path::Closed)
    };
    faulty.iter().all(less)
}

/// Does a part do nothing in this mode as long as no current flows in it?
fn does_nothing(part: &Part, mode: &str, situation: &Situation) -> bool {
    let mut branches = Vec::new();
    part.kind.behaviour.electrics(&part.params, Some(mode), situation, &mut branches);
    let silent = Flows {
        volts: vec![0.0; branches.len()],
        amps: vec![(0.0, 0.0); branches.len()],
        watts: vec![0.0; branches.len()],
        phases: 0,
    };
    part.kind.behaviour.effect(&part.params, Some(mode), situation, &silent) == Effect::default()
}

/// Per part and mode: what [`crate::reach::Reach::off_mains`] says.
pub(crate) fn off_mains(machine: &Machine, paths: &[Edge]) -> Vec<Vec<Option<Arc<Bits>>>> {
    let mains = joined(machine, paths, &[node::LINE, node::NEUTRAL, node::EARTH, node::CHASSIS]);
    let circumstances: Vec<Situation> = samples(machine).collect();
    let of = |part: &Part| -> Vec<Option<Arc<Bits>>> {
        let ends: Vec<NodeId> = part.terminals.iter().flatten().copied().collect();
        if ends.is_empty() || ends.iter().any(|&n| mains.has(n)) {
            return vec![None; part.kind.modes.len()];
        }
        let island = Arc::new(joined(machine, paths, &ends));
        let ways = branch_ends(machine, part);
        let only_switches = |mode: &str, s: &Situation| {
            let mut branches = Vec::new();
            part.kind.behaviour.electrics(&part.params, Some(mode), s, &mut branches);
            branches
                .iter()
                .all(|b| ways.contains(&(b.from, b.to)) || b.ac == Path::Open && b.dc == Path::Open)
                && does_nothing(part, mode, s)
        };
        let one =
            |m: &Mode| circumstances.iter().all(|s| only_switches(m.name, s)).then(|| Arc::clone(&island));
        part.kind.modes.iter().map(one).collect()
    };
    machine.parts.iter().map(of).collect()
}
