//! Instants with a fault that changes no current, from those without it ([`crate::replay`]).

use super::{Fault, Kept, Shared, set_modes};
use crate::bits::Bits;
use crate::replay::{Modes, Replayed, replay};
use crate::superpose::{Difference, Rounds};
use std::sync::Arc;

impl Shared<'_> {
    /// The instant of a single fault that changes no current, from the healthy one.
    pub(super) fn replayed(&mut self, setting: u32, fault: Fault) -> Option<Kept> {
        let machine = self.solver.machine;
        let at = &self.settings[setting as usize];
        let (base, rounds) = at.healthy.as_ref()?;
        let base = &self.kept[*base as usize];
        let drives = &self.driven[at.driven as usize];
        if drives.iter().any(|d| self.is_on_phases(d, &[fault])) {
            return None;
        }
        self.replayed_on.fill(None);
        set_modes(&mut self.solving, &[fault]);
        let modes = Modes { before: &self.replayed_on, with: &self.solving };
        let found = replay(machine, fault.0, modes, at.state.level_l, rounds, &base.moment)?;
        let difference = Difference::of_replayed(machine, fault.0, &found, &base.moment, rounds);
        let difference = Some(Box::new(difference));
        Some(Kept { difference, ..self.concluded(found, base.loud.clone()) })
    }

    /// The instant of two faults, the first of which alone changes no current, from that of the other one.
    pub(super) fn replayed_with(
        &mut self,
        setting: u32,
        fault: Fault,
        (other, with): (Fault, u32),
    ) -> Option<Kept> {
        let drives = &self.driven[self.settings[setting as usize].driven as usize];
        if drives.iter().any(|d| self.is_on_phases(d, &[fault])) {
            return None;
        }
        let alone = self.single(setting, fault);
        if !self.kept[alone as usize].replayed {
            return None;
        }
        let key = (setting, self.place(other) as u32);
        if !self.replays.contains_key(&key) {
            let mut rounds = Rounds::default();
            self.solve(setting, &[other], Some(&mut rounds));
            self.replays.insert(key, rounds);
        }
        set_modes(&mut self.replayed_on, &[other]);
        set_modes(&mut self.solving, &[fault, other]);
        let modes = Modes { before: &self.replayed_on, with: &self.solving };
        let base = &self.kept[with as usize];
        let level_l = self.settings[setting as usize].state.level_l;
        let rounds = self.replays.get(&key)?;
        let found = replay(self.solver.machine, fault.0, modes, level_l, rounds, &base.moment)?;
        Some(self.concluded(found, base.loud.clone()))
    }

    /// What was replayed, with what follows from it, on what was loud without the fault.
    fn concluded(&self, found: Replayed, mut loud: Bits) -> Kept {
        let machine = self.solver.machine;
        let Replayed { mut moment, did, .. } = found;
        moment.conclude(machine, &self.solving, self.supply_v);
        for part in did {
            loud.insert(part);
            machine.parts[part].through.iter().for_each(|&p| loud.insert(p));
        }
        let exact = loud.meets(&self.classes.gradual);
        Kept { moment: Arc::new(moment), loud, exact, replayed: true, difference: None }
    }
}
