//! Water levels and temperatures between which no part can tell a difference.
//!
//! A float switch knows two levels, a cut-out two temperatures. Two states between the same marks give the same
//! instant, unless a part carries current whose ohms change without a step (a sensor's): such parts are named.

use crate::bits::Bits;
use crate::modes::alike;
use crate::reach::{LEVELS_L, TEMPERATURES_C, rest};
use machine::kind::{Branch, Effect, Flows, Medium, Situation};
use machine::model::{Machine, Part};
use rustc_hash::FxHashMap;

/// The marks of one machine.
#[derive(Clone)]
pub(crate) struct Classes {
    /// Levels from which some part answers differently, ascending.
    level_marks: Vec<f64>,
    temperature_marks: Vec<f64>,
    /// Shares of the pressure that can reach a part: the level that it knows is the true one times one of these.
    shares: Vec<f64>,
    /// Parts that answer differently at every level or temperature.
    pub(crate) gradual: Bits,
    levels: FxHashMap<u64, u32>,
    by_places: FxHashMap<Vec<usize>, u32>,
}

impl Classes {
    pub(crate) fn new(machine: &Machine) -> Classes {
        let mut found = Classes {
            level_marks: Vec::new(),
            temperature_marks: Vec::new(),
            shares: shares(machine),
            gradual: Bits::none(machine.parts.len()),
            levels: FxHashMap::default(),
            by_places: FxHashMap::default(),
        };
        for (id, first) in alike(machine).into_iter().enumerate() {
            let gradual =
                if first == id { found.mark(machine, &machine.parts[id]) } else { found.gradual.has(first) };
            if gradual {
                found.gradual.insert(id);
            }
        }
        for marks in [&mut found.level_marks, &mut found.temperature_marks] {
            marks.sort_by(f64::total_cmp);
            marks.dedup();
        }
        found
    }

    /// Takes in the marks of a part; true if it is gradual.
    fn mark(&mut self, machine: &Machine, part: &Part) -> bool {
        let level = |level_l| Situation { level_l, ..rest(machine) };
        let temperature = |temperature_c| Situation { temperature_c, ..rest(machine) };
        let mut gradual = false;
        for mode in std::iter::once(None).chain(part.kind.modes.iter().map(|m| Some(m.name))) {
            let by_level = |l| answers(machine, part, mode, level(l));
            let by_temperature = |t| answers(machine, part, mode, temperature(t));
            gradual |= !marks(&LEVELS_L, &mut self.level_marks, by_level);
            gradual |= !marks(&TEMPERATURES_C, &mut self.temperature_marks, by_temperature);
        }
        gradual
    }

    /// Levels of the same class give the same instants, gradual parts aside.
    pub(crate) fn level(&mut self, level_l: f64) -> u32 {
        let (marks, shares, by_places) = (&self.level_marks, &self.shares, &mut self.by_places);
        *self.levels.entry(level_l.to_bits()).or_insert_with(|| {
            let place = |share: &f64| marks.partition_point(|m| *m <= level_l * share);
            let next = by_places.len() as u32;
            *by_places.entry(shares.iter().map(place).collect()).or_insert(next)
        })
    }

    /// Temperatures of the same class likewise.
    pub(crate) fn temperature(&self, temperature_c: f64) -> u32 {
        self.temperature_marks.partition_point(|m| *m <= temperature_c) as u32
    }
}

/// One, and what a fault or two can make of it.
fn shares(machine: &Machine) -> Vec<f64> {
    let mut single = vec![1.0];
    for part in machine.parts.iter().flat_map(|p| &p.through).map(|&p| &machine.parts[p]) {
        for mode in std::iter::once(None).chain(part.kind.modes.iter().map(|m| Some(m.name))) {
            let factor = part.kind.behaviour.passage(&part.params, mode, Medium::Pressure).factor;
            if !single.contains(&factor) {
                single.push(factor);
            }
        }
    }
    let mut all = single.clone();
    for product in single.iter().flat_map(|a| single.iter().map(move |b| a * b)) {
        if !all.contains(&product) {
            all.push(product);
        }
    }
    all
}

type Answers = Vec<(Vec<Branch>, Effect, Effect)>;

/// What a part answers, at rest and driven, dead and at full supply.
fn answers(machine: &Machine, part: &Part, mode: Option<&str>, situation: Situation) -> Answers {
    [(false, false), (true, false), (true, true)]
        .into_iter()
        .map(|(driven, locked)| {
            let wanted_rpm = if driven { 50.0 } else { 0.0 };
            let s = Situation { driven, wanted_rpm, locked, ..situation };
            let mut branches = Vec::new();
            part.kind.behaviour.electrics(&part.params, mode, &s, &mut branches);
            let flows = |share: f64| Flows {
                volts: vec![share * machine.plate.supply_v; branches.len()],
                amps: vec![(share, 0.0); branches.len()],
                watts: vec![share * machine.plate.supply_v; branches.len()],
                phases: 3,
            };
            let effect = |share| part.kind.behaviour.effect(&part.params, mode, &s, &flows(share));
            let effects = (effect(0.0), effect(1.0));
            (branches, effects.0, effects.1)
        })
        .collect()
}

/// Adds the values between which the answers step; false where they change without a step.
fn marks(grid: &[f64], into: &mut Vec<f64>, of: impl Fn(f64) -> Answers) -> bool {
    let mut before = of(grid[0]);
    for pair in grid.windows(2) {
        let after = of(pair[1]);
        if before != after {
            let (mut low, mut high) = (pair[0], pair[1]);
            loop {
                let middle = between(low, high);
                if middle <= low || middle >= high {
                    break;
                }
                let there = of(middle);
                if there == before {
                    low = middle;
                } else if there == after {
                    high = middle;
                } else {
                    return false;
                }
            }
            into.push(high);
        }
        before = after;
    }
    true
}

/// Half way between two numbers; near nought by their order of size, so that a step just above nought is soon found.
fn between(low: f64, high: f64) -> f64 {
    if low >= 0.0 { f64::from_bits(low.to_bits().midpoint(high.to_bits())) } else { f64::midpoint(low, high) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps_at(at: f64) -> impl Fn(f64) -> Answers {
        move |x| {
            let heat_w = if x >= at { 1.0 } else { 0.0 };
            vec![(Vec::new(), Effect::default(), Effect { heat_w, ..Effect::default() })]
        }
    }

    #[test]
    fn a_step_is_found_to_the_last_digit() {
        for at in [f64::from_bits(1), 0.1, 2.345_678, 60.0] {
            let mut found = Vec::new();
            assert!(marks(&LEVELS_L, &mut found, steps_at(at)));
            assert_eq!(found, [at]);
        }
        let mut found = Vec::new();
        assert!(marks(&TEMPERATURES_C, &mut found, steps_at(-3.25)));
        assert_eq!(found, [-3.25]);
    }

    #[test]
    fn a_slope_is_told_from_a_step() {
        let slope = |x| vec![(Vec::new(), Effect::default(), Effect { heat_w: x, ..Effect::default() })];
        assert!(!marks(&LEVELS_L, &mut Vec::new(), slope));
    }
}
