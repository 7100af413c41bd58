//! What is likely before anything is known of this machine: its faults, by the rates in its file.

use crate::hypotheses::{Consequence, Fault, HypothesesError, Hypothesis, Part, Prior};
use bench::{Bench, Conditions, State, Trip};
use machine::model::{Machine, PartId};

/// Probability, before anyone calls, that a given machine has a fault at all: one in some four years, that lasts for two weeks.
/// It sets how often two faults that have nothing to do with each other come together: in one job of two hundred (faults that
/// bring others are reckoned with apart). Common practice, no source.
const HAS_A_FAULT: f64 = 0.01;

/// How much rarer a call about a sound machine is than one about a faulty machine (tap shut, wrong programme): with
/// [`HAS_A_FAULT`] it makes one call in ten. Common practice, no source.
pub(crate) const CALLS_WHEN_SOUND: f64 = 0.0011;

/// Calls about sound machines against calls about faulty ones, as the two above make it.
pub(crate) const SOUND_CALLS: f64 = CALLS_WHEN_SOUND * (1.0 - HAS_A_FAULT) / HAS_A_FAULT;

/// How often a fault shows only sometimes, against showing always. Common practice, no source.
const SOMETIMES_SHARE: f64 = 0.06;

/// How often a fault that shows only sometimes shows in a test or a reading (nobody knows: even odds).
pub(crate) const SHOWS_SOMETIMES: f64 = 0.5;

/// Share of these faults that come and go within one test; the others are there in all of it or in none (nobody knows: even odds).
pub(super) const COMES_AND_GOES: f64 = 0.5;

/// A set of faults with, for each, whether it shows only sometimes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Case {
    /// The faults.
    pub faults: bench::Hypothesis,
    /// Places in `faults` of those that show only sometimes.
    pub sometimes: Vec<usize>,
}

impl Case {
    /// From a set of the prior: modes beyond those of the kind are the same modes, showing only sometimes.
    pub(crate) fn of(machine: &Machine, hypothesis: &Hypothesis) -> Case {
        let modes = |f: &Fault| machine.parts[f.part].kind.modes.len();
        let fitful = |f: &Fault| f.mode >= modes(f) || machine.parts[f.part].kind.shows_as(f.mode).is_some();
        let sometimes = hypothesis.faults.iter().enumerate().filter(|(_, f)| fitful(f));
        Case {
            sometimes: sometimes.map(|(i, _)| i).collect(),
            faults: bench::Hypothesis::of(
                hypothesis.faults.iter().map(|f| (f.part, f.mode % modes(f).max(1))),
            ),
        }
    }

    /// The faults as they are while they show: a wire that makes contact now and then is open.
    pub(crate) fn shown(&self, machine: &Machine) -> bench::Hypothesis {
        let as_shown =
            |&(part, mode): &(PartId, usize)| (part, machine.parts[part].kind.shows_as(mode).unwrap_or(mode));
        bench::Hypothesis::of(self.faults.faults().iter().map(as_shown))
    }

    /// "element open", "element open now and then", "healthy".
    pub fn says(&self, machine: &Machine) -> String {
        let one = |(i, &fault): (usize, &(PartId, usize))| {
            let says = bench::Hypothesis::of([fault]).says(machine);
            let by_name = machine.parts[fault.0].kind.shows_as(fault.1).is_some();
            if self.sometimes.contains(&i) && !by_name { format!("{says} now and then") } else { says }
        };
        let all: Vec<String> = self.faults.faults().iter().enumerate().map(one).collect();
        if all.is_empty() { "healthy".to_owned() } else { all.join(", ") }
    }
}

/// The prior over a machine's faults.
///
/// The shares of jobs in the machine file are scaled so that together they make [`HAS_A_FAULT`]. Every mode comes twice:
/// showing always, and (mode + number of modes of the kind) showing only sometimes. A consequence of a part kind goes to
/// each part of the named kind, its probability divided among them; of a short across the supply, to those that end it.
///
/// # Errors
/// As [`Prior::new`], for rates that are no shares.
pub(crate) fn prior(machine: &Machine) -> Result<Prior, HypothesesError> {
    let total: f64 = machine.parts.iter().flat_map(|p| p.rates.iter()).sum();
    let scale = if total > 0.0 { HAS_A_FAULT / total } else { 0.0 };
    let parts: Vec<Part> = machine
        .parts
        .iter()
        .map(|part| {
            let share = |mode: usize| {
                if part.kind.shows_as(mode).is_some() { 0.0 } else { SOMETIMES_SHARE }
            };
            let rates = || part.rates.iter().enumerate();
            let always = rates().map(|(mode, r)| r * scale * (1.0 - share(mode)));
            let sometimes = rates().map(|(mode, r)| r * scale * share(mode));
            Part { modes: always.chain(sometimes).collect() }
        })
        .collect();
    // Someone called: that speaks against the sound machine, and for all others alike.
    Ok(Prior::new(&parts, consequences(machine))?.counting_empty(CALLS_WHEN_SOUND))
}

fn consequences(machine: &Machine) -> Vec<Consequence> {
    let mut all = Vec::new();
    for (cause, part) in machine.parts.iter().enumerate() {
        for c in part.kind.consequences {
            let Some(mode) = part.kind.modes.iter().position(|m| m.name == c.mode) else { continue };
            let others =
                machine.parts.iter().enumerate().filter(|(id, p)| *id != cause && p.kind.name == c.kind);
            let struck: Vec<Fault> = others
                .filter_map(|(part, p)| {
                    let mode = p.kind.modes.iter().position(|m| m.name == c.brings)?;
                    Some(Fault { part, mode })
                })
                .collect();
            let could = |effect: &Fault| {
                let cause = (cause, mode);
                !shorts_supply(machine, &[cause])
                    || !shorts_supply(machine, &[cause, (effect.part, effect.mode)])
            };
            let struck: Vec<Fault> = struck.into_iter().filter(could).collect();
            let probability = c.probability / struck.len().max(1) as f64;
            let from = Fault { part: cause, mode };
            all.extend(struck.into_iter().map(|effect| Consequence { cause: from, effect, probability }));
        }
    }
    all
}

/// Do these faults put a short across the supply? What such a current destroys lies on its way and ends it.
fn shorts_supply(machine: &Machine, faults: &[(PartId, usize)]) -> bool {
    let Some(step) = machine.test.steps.first() else { return false };
    let conditions = Conditions::at(machine.plate.supply_v);
    let modes = bench::Hypothesis::of(faults.iter().copied()).modes(machine);
    let first = Bench::new(machine).step(step, &modes, &conditions, &mut State::start(&conditions));
    matches!(first.trip, Some(Trip::Overcurrent(_)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_takes_no_fuse_with_it_that_lies_elsewhere() {
        let text = include_str!("../../../../machines/saltreach-pilot-12.toml");
        let machine = machine::read::read(text, None).machine.expect("a shipped machine");
        let (filter, fuse) = (machine.part("mains-filter"), machine.part("heater-fuse"));
        let all = consequences(&machine);
        assert!(all.iter().all(|c| (Some(c.cause.part), Some(c.effect.part)) != (filter, fuse)), "{all:?}");
        assert!(!all.is_empty());
    }
}
