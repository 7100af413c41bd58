//! What an ohmmeter of the board reads, kept by what can lie on its way ([`Behind`]).

use super::{Fault, NONE, Shared};
use crate::moment::Asked;
use crate::reach::{Behind, rest};
use crate::step::State;
use circuit::end_of;
use machine::model::{InputId, Senses};

#[derive(Clone, PartialEq, Eq, Hash)]
pub(super) struct OhmsKey {
    input: u32,
    /// Places of the faults that matter.
    faults: [u32; 2],
    /// What is driven and locked, where that matters.
    setting: u32,
    /// Classes of water and temperature, or these themselves where a part on the way knows them.
    state: (u64, u64),
}

impl Shared<'_> {
    /// Ohms at an input, worked out once for all hypotheses that agree on what can lie on its way.
    pub(super) fn ohms_at(&mut self, input: InputId, state: &State, dead: bool) -> f64 {
        let behind = &self.reach.behind_input[input];
        self.heard.parts.join(&behind.parts);
        self.heard.temperature |= behind.senses_temperature;
        let asked = &self.solver.machine.inputs[input];
        match asked.senses {
            Senses::Volts { .. } => return f64::INFINITY,
            Senses::Ohms(..) => self.heard.measuring.insert(asked.board),
            Senses::Contact(..) | Senses::Part { .. } => {}
        }
        if self.faults.iter().any(|&f| self.adds(f, behind)) {
            self.heard.parts.join(&behind.around);
        }
        let Some(key) = self.ohms_key(input, state, dead) else { return self.measure(input, state, dead) };
        if let Some(&known) = self.ohms.get(&key) {
            return known;
        }
        let found = self.measure(input, state, dead);
        self.ohms.insert(key, found);
        found
    }

    /// The key of a reading; none where too much can lie on its way.
    fn ohms_key(&mut self, input: InputId, state: &State, dead: bool) -> Option<OhmsKey> {
        let behind = &self.reach.behind_input[input];
        // One fault that adds a way out of the island adds none between its nodes but its own; two may join outside.
        let mut adding = self.faults.iter().filter(|&&f| self.adds(f, behind));
        let widened = match (adding.next(), adding.next()) {
            (None, _) => false,
            (Some(&only), None) => !self.leads_to_one_node(only, behind),
            _ => true,
        };
        let by_drive = widened || behind.by_drive;
        let exact = widened || behind.on_the_way.meets(&self.classes.gradual);
        let mut faults = [NONE; 2];
        // What is locked, driven and moving may depend on any fault.
        let mattering = self.faults.iter().filter(|&&f| by_drive || self.matters(f, behind));
        for (number, &fault) in mattering.enumerate() {
            *faults.get_mut(number)? = self.place(fault) as u32;
        }
        let setting = match (by_drive, dead) {
            (false, _) => NONE,
            (true, true) => NONE - 1 - u32::from(state.locked),
            (true, false) => self.setting_of_last(),
        };
        // Alive, the network is as it was when the instant began.
        let state = if dead { state } else { &self.last.1 };
        let state = if exact {
            self.heard.temperature = true;
            (state.level_l.to_bits(), state.temperature_c.to_bits())
        } else {
            let (level, temperature) =
                (self.classes.level(state.level_l), self.classes.temperature(state.temperature_c));
            (u64::from(level), u64::from(temperature))
        };
        Some(OhmsKey { input: input as u32, faults, setting, state })
    }

    fn setting_of_last(&mut self) -> u32 {
        let (driven, last) = self.last.clone();
        self.setting(driven, &last, false)
    }

    /// Can a fault matter to ohms?
    pub(super) fn matters(&self, fault: Fault, behind: &Behind) -> bool {
        behind.on_the_way.has(fault.0) || self.adds(fault, behind)
    }

    /// Can a fault add a way? Leaks and chafed wires lead from a part's terminal to the cabinet.
    fn adds(&self, (part, mode): Fault, behind: &Behind) -> bool {
        !self.reach.takes_away[part][mode] && behind.around.has(part)
    }

    /// Do all paths that lead out of the island by way of a faulty part end at one node?
    fn leads_to_one_node(&self, (part, mode): Fault, behind: &Behind) -> bool {
        let part = &self.solver.machine.parts[part];
        let mut branches = Vec::new();
        let mode = part.kind.modes[mode].name;
        part.kind.behaviour.electrics(&part.params, Some(mode), &rest(self.solver.machine), &mut branches);
        let ends = branches.iter().flat_map(|b| [b.from, b.to]).filter_map(|end| end_of(part, end));
        let mut outside = ends.filter(|&n| !behind.island.has(n));
        outside.next().is_none_or(|first| outside.all(|n| n == first))
    }

    fn measure(&mut self, input: InputId, state: &State, dead: bool) -> f64 {
        if dead {
            self.solver.dead(&self.modes, state);
        } else {
            let drives = &self.driven[self.last.0 as usize];
            self.solver.moment(&self.modes, drives, &self.last.1, self.supply_v, Asked::default());
        }
        self.solver.input_ohms(input)
    }
}
