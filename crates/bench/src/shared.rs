//! Instants shared between hypotheses: each is solved once, and most are not solved at all.
//!
//! An instant of a hypothesis, in a [`Setting`] (what is driven, the bolt, the classes of water and temperature), is
//! - the instant of a smaller hypothesis, if the fault left out can only **take away** (it opens or changes a path, and
//!   does nothing of its own) and its part is not **loud** there: carries no current, does nothing, and lies behind no
//!   input that watches volts. A path without current may be opened, and the solution, being unique, stays;
//! - or that of a smaller one with some effects worked out anew, if the fault left out changes no current ([`crate::replay`]);
//! - or the sum of the instants of its faults, where they do not touch each other ([`crate::superpose`]);
//! - or solved.
//!
//! What an ohmmeter of the board reads is kept in `shared/ohms.rs`.

mod ohms;
mod replays;

use crate::bits::Bits;
use crate::classes::Classes;
use crate::moment::{Asked, Moment, Solver, chain};
use crate::reach::Reach;
use crate::step::{Instants, State};
use crate::superpose::{Difference, Differing, Rounds, superpose};
use machine::kind::{Medium, Passage};
use machine::model::{Drive, InputId, Machine, OutputId, PartId};
use ohms::OhmsKey;
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// A part and the index of its fault mode.
pub(crate) type Fault = (PartId, usize);

/// Instants of one machine at one supply, and the hypothesis at hand.
#[derive(Clone)]
pub(crate) struct Shared<'m> {
    solver: Solver<'m>,
    supply_v: f64,
    pub(crate) reach: Arc<Reach>,
    classes: Classes,
    /// Place of a part's first mode among all modes.
    first_mode: Vec<usize>,
    mode_count: usize,
    faults: Vec<Fault>,
    modes: Vec<Option<usize>>,
    /// Modes of the instant that is being solved: those of some of the faults.
    solving: Vec<Option<usize>>,
    /// What the step at hand depended on so far.
    pub(crate) heard: Heard,
    /// What was driven in the last instant asked for, and from which state.
    last: (u32, State),
    driven: Vec<Vec<Drive>>,
    settings: Vec<Setting>,
    setting_ids: FxHashMap<SettingKey, u32>,
    kept: Vec<Kept>,
    pairs: FxHashMap<(u32, u32, u32), u32>,
    larger: FxHashMap<(u32, Vec<Fault>), u32>,
    ohms: FxHashMap<OhmsKey, f64>,
    rounds: Rounds,
    /// Rounds of single faults, by setting and the fault's place, for what is replayed on them.
    replays: FxHashMap<(u32, u32), Rounds>,
    /// Modes of the instant that something is replayed on.
    replayed_on: Vec<Option<usize>>,
}

/// What a step depended on.
#[derive(Clone)]
pub(crate) struct Heard {
    /// Parts that carried current or did something, or lay behind what the board asked for.
    pub(crate) parts: Bits,
    /// Boards that measured ohms.
    pub(crate) measuring: Bits,
    /// The temperature itself, not only its class.
    pub(crate) temperature: bool,
}

/// The circumstances of instants, the faults aside.
#[derive(Clone)]
struct Setting {
    driven: u32,
    /// One state of its class, for all instants of the setting.
    state: State,
    healthy: Option<(u32, Rounds)>,
    singles: Vec<u32>,
}

#[derive(Clone, PartialEq, Eq, Hash)]
struct SettingKey {
    driven: u32,
    locked: bool,
    level: u32,
    temperature: u32,
    /// Level and temperature themselves, where a part with current knows them.
    exact: Option<(u64, u64)>,
}

/// An instant that was found.
#[derive(Clone)]
struct Kept {
    moment: Arc<Moment>,
    /// Parts that it depends on.
    loud: Bits,
    /// A part carries current that knows level or temperature itself.
    exact: bool,
    /// It was replayed.
    replayed: bool,
    /// From the healthy one; of single faults, and of several that do not touch each other.
    difference: Option<Box<Difference>>,
}

/// No instant, no fault.
const NONE: u32 = u32::MAX;

impl<'m> Shared<'m> {
    pub(crate) fn new(machine: &'m Machine, supply_v: f64, state: State) -> Self {
        let (reach, classes) = (Reach::new(machine), Classes::new(machine));
        Self::with(Solver::new(machine), supply_v, state, (Arc::new(reach), classes))
    }

    /// Another one with nothing in it; what is known of the machine is not worked out again.
    pub(crate) fn anew(&self, state: State) -> Self {
        let known = (Arc::clone(&self.reach), self.classes.clone());
        Self::with(self.solver.anew(), self.supply_v, state, known)
    }

    fn with(
        solver: Solver<'m>,
        supply_v: f64,
        state: State,
        (reach, classes): (Arc<Reach>, Classes),
    ) -> Self {
        let machine = solver.machine;
        let mut first_mode = Vec::with_capacity(machine.parts.len());
        let mut mode_count = 0;
        for part in &machine.parts {
            first_mode.push(mode_count);
            mode_count += part.kind.modes.len();
        }
        Shared {
            solver,
            supply_v,
            reach,
            classes,
            first_mode,
            mode_count,
            faults: Vec::new(),
            modes: vec![None; machine.parts.len()],
            solving: vec![None; machine.parts.len()],
            heard: Heard {
                parts: Bits::none(machine.parts.len()),
                measuring: Bits::none(machine.parts.len()),
                temperature: false,
            },
            last: (0, state),
            driven: Vec::new(),
            settings: Vec::new(),
            setting_ids: FxHashMap::default(),
            kept: Vec::new(),
            pairs: FxHashMap::default(),
            larger: FxHashMap::default(),
            ohms: FxHashMap::default(),
            rounds: Rounds::default(),
            replays: FxHashMap::default(),
            replayed_on: vec![None; machine.parts.len()],
        }
    }

    /// How many modes all parts have together; [`place`](Self::place) is below.
    pub(crate) fn mode_count(&self) -> usize {
        self.mode_count
    }

    /// Place of a fault among all faults.
    pub(crate) fn place(&self, fault: Fault) -> usize {
        self.first_mode[fault.0] + fault.1
    }

    /// Class of a temperature: within one, instants are the same.
    pub(crate) fn temperature_class(&self, temperature_c: f64) -> u32 {
        self.classes.temperature(temperature_c)
    }

    /// From here on for this hypothesis, in a new step.
    pub(crate) fn begin(&mut self, faults: &[Fault]) {
        self.faults.clear();
        self.faults.extend_from_slice(faults);
        set_modes(&mut self.modes, faults);
        self.heard.parts.clear();
        self.heard.measuring.clear();
        self.heard.temperature = false;
    }

    fn driven(&mut self, drives: &[Drive]) -> u32 {
        let same = |known: &Vec<Drive>| {
            known.len() == drives.len()
                && known.iter().zip(drives).all(|(a, b)| a.output == b.output && a.rpm == b.rpm)
        };
        let place = self.driven.iter().position(same).unwrap_or_else(|| {
            self.driven.push(drives.to_vec());
            self.driven.len() - 1
        });
        place as u32
    }

    fn setting(&mut self, driven: u32, state: &State, exact: bool) -> u32 {
        let key = SettingKey {
            driven,
            locked: state.locked,
            level: self.classes.level(state.level_l),
            temperature: self.classes.temperature(state.temperature_c),
            exact: exact.then_some((state.level_l.to_bits(), state.temperature_c.to_bits())),
        };
        if let Some(&known) = self.setting_ids.get(&key) {
            return known;
        }
        let id = self.settings.len() as u32;
        self.settings.push(Setting {
            driven,
            state: state.clone(),
            healthy: None,
            singles: vec![NONE; self.mode_count],
        });
        self.setting_ids.insert(key, id);
        id
    }

    /// The instant of a hypothesis in a setting.
    fn find(&mut self, setting: u32, faults: &[Fault]) -> u32 {
        match *faults {
            [] => self.healthy(setting),
            [fault] => self.single(setting, fault),
            [a, b] => self.pair(setting, a, b),
            _ => self.many(setting, faults),
        }
    }

    fn healthy(&mut self, setting: u32) -> u32 {
        if let Some((known, _)) = &self.settings[setting as usize].healthy {
            return *known;
        }
        let mut rounds = Rounds::default();
        let found = self.solve(setting, &[], Some(&mut rounds));
        let id = self.keep(found);
        self.settings[setting as usize].healthy = Some((id, rounds));
        id
    }

    fn single(&mut self, setting: u32, fault: Fault) -> u32 {
        let place = self.place(fault);
        let known = self.settings[setting as usize].singles[place];
        if known != NONE {
            return known;
        }
        let healthy = self.healthy(setting);
        let found = if self.is_silent(fault, healthy) {
            healthy
        } else if let Some(found) = self.replayed(setting, fault) {
            self.keep(found)
        } else {
            let mut rounds = std::mem::take(&mut self.rounds);
            let mut found = self.solve(setting, &[fault], Some(&mut rounds));
            if let Some((healthy, healthy_rounds)) = &self.settings[setting as usize].healthy {
                let from = (healthy_rounds, self.kept[*healthy as usize].moment.as_ref());
                let machine = self.solver.machine;
                let difference = Difference::of(machine, fault, (&rounds, &found.moment), from);
                found.difference = Some(Box::new(difference));
            }
            self.rounds = rounds;
            self.keep(found)
        };
        self.settings[setting as usize].singles[place] = found;
        found
    }

    fn pair(&mut self, setting: u32, a: Fault, b: Fault) -> u32 {
        let with_a = self.single(setting, a);
        if self.is_silent(b, with_a) {
            return with_a;
        }
        let with_b = self.single(setting, b);
        if self.is_silent(a, with_b) {
            return with_b;
        }
        let key = (setting, self.place(a) as u32, self.place(b) as u32);
        if let Some(&known) = self.pairs.get(&key) {
            return known;
        }
        let found = self
            .superpose(setting, (&[a], with_a), (b, with_b))
            .or_else(|| self.replayed_with(setting, a, (b, with_b)))
            .or_else(|| self.replayed_with(setting, b, (a, with_a)));
        let found = found.unwrap_or_else(|| self.solve(setting, &[a, b], None));
        let id = self.keep(found);
        self.pairs.insert(key, id);
        id
    }

    fn many(&mut self, setting: u32, faults: &[Fault]) -> u32 {
        let key = (setting, faults.to_vec());
        if let Some(&known) = self.larger.get(&key) {
            return known;
        }
        let mut smaller = Vec::with_capacity(faults.len());
        for left_out in 0..faults.len() {
            let mut rest = faults.to_vec();
            let fault = rest.remove(left_out);
            let without = self.find(setting, &rest);
            if self.is_silent(fault, without) {
                self.larger.insert(key, without);
                return without;
            }
            smaller.push((fault, rest, without));
        }
        let found = smaller.into_iter().find_map(|(fault, rest, without)| {
            let [a, b] = rest[..] else { return None };
            // A fault that changed nothing beside the other one may change something beside the third.
            let of_both = self.pairs.contains_key(&(setting, self.place(a) as u32, self.place(b) as u32));
            let alone = of_both.then(|| self.single(setting, fault))?;
            self.superpose(setting, (&rest, without), (fault, alone))
        });
        let found = found.unwrap_or_else(|| self.solve(setting, faults, None));
        let id = self.keep(found);
        self.larger.insert(key, id);
        id
    }

    /// Does adding this fault to what gave that instant change nothing?
    fn is_silent(&self, (part, mode): Fault, instant: u32) -> bool {
        self.reach.takes_away[part][mode]
            && !self.kept[instant as usize].loud.has(part)
            && !self.reach.behind_volts.has(part)
    }

    /// Does this fault only open and close ways off the mains, where none of the others adds a way to them? No current flows there,
    /// whatever is closed.
    pub(crate) fn switches_apart(&self, (part, mode): Fault, others: &[Fault]) -> bool {
        let Some(island) = &self.reach.off_mains[part][mode] else { return false };
        let adds = |&(p, m): &Fault| {
            let touches = || self.solver.machine.parts[p].terminals.iter().flatten().any(|&n| island.has(n));
            !self.reach.takes_away[p][m] && self.reach.off_mains[p][m].is_none() && touches()
        };
        !others.iter().any(adds)
    }

    /// The instant of faults and one more, from theirs and that of the one alone.
    fn superpose(
        &mut self,
        setting: u32,
        (faults, with): (&[Fault], u32),
        (fault, alone): (Fault, u32),
    ) -> Option<Kept> {
        let setting = &self.settings[setting as usize];
        let healthy = &self.kept[setting.healthy.as_ref()?.0 as usize];
        let all = || faults.iter().copied().chain([fault]);
        // The phases of an inverter are counted by ohms, which two faults may change together.
        let drives = &self.driven[setting.driven as usize];
        let several_on_phases = |d: &Drive| {
            let behind = self.reach.behind_output[d.output].as_ref();
            behind.is_some_and(|behind| all().filter(|&f| self.matters(f, behind)).count() > 1)
        };
        if drives.iter().any(several_on_phases) {
            return None;
        }
        let (f, g) = (&self.kept[with as usize], &self.kept[alone as usize]);
        let (of_f, of_g) = (f.difference.as_ref()?, g.difference.as_ref()?);
        let mut moment = superpose(
            &healthy.moment,
            Differing { moment: &f.moment, from_healthy: of_f },
            Differing { moment: &g.moment, from_healthy: of_g },
        )?;
        let difference = Some(Box::new(of_f.and(of_g)));
        let mut loud = f.loud.clone();
        loud.join(&g.loud);
        loud.join(&healthy.loud);
        let exact = f.exact || g.exact || healthy.exact;
        set_modes(&mut self.solving, &all().collect::<Vec<_>>());
        moment.conclude(self.solver.machine, &self.solving, self.supply_v);
        Some(Kept { moment: Arc::new(moment), loud, exact, replayed: false, difference })
    }

    /// Can one of these faults matter to the phases of a motor that is driven?
    fn is_on_phases(&self, drive: &Drive, faults: &[Fault]) -> bool {
        let behind = self.reach.behind_output[drive.output].as_ref();
        behind.is_some_and(|behind| faults.iter().any(|&f| self.matters(f, behind)))
    }

    fn solve(&mut self, setting: u32, faults: &[Fault], rounds: Option<&mut Rounds>) -> Kept {
        let setting = &self.settings[setting as usize];
        let drives = &self.driven[setting.driven as usize];
        set_modes(&mut self.solving, faults);
        // Where no fault can matter to the phases of a motor, they are the healthy machine's.
        let on_phases = drives.iter().any(|d| self.is_on_phases(d, faults));
        let healthy = setting.healthy.as_ref();
        let known = if on_phases { None } else { healthy.map(|h| h.1.phases()) };
        let like = healthy.map(|h| self.kept[h.0 as usize].moment.as_ref());
        let moment = self.solver.moment(
            &self.solving,
            drives,
            &setting.state,
            self.supply_v,
            Asked { phases: known, rounds, like },
        );
        let machine = self.solver.machine;
        let mut loud = Bits::none(machine.parts.len());
        for part in (0..machine.parts.len()).filter(|&p| self.solver.active[p]) {
            loud.insert(part);
        }
        let exact = loud.meets(&self.classes.gradual);
        for drive in drives {
            if let Some(behind) = &self.reach.behind_output[drive.output] {
                loud.join(&behind.parts);
            }
        }
        let through: Vec<PartId> =
            loud.iter().flat_map(|p| machine.parts[p].through.iter().copied()).collect();
        for part in through {
            loud.insert(part);
        }
        Kept { moment: Arc::new(moment), loud, exact, replayed: false, difference: None }
    }

    fn keep(&mut self, found: Kept) -> u32 {
        self.kept.push(found);
        self.kept.len() as u32 - 1
    }
}

fn set_modes(modes: &mut [Option<usize>], faults: &[Fault]) {
    modes.fill(None);
    for &(part, mode) in faults {
        modes[part] = Some(mode);
    }
}

impl<'m> Instants<'m> for Shared<'m> {
    fn machine(&self) -> &'m Machine {
        self.solver.machine
    }

    fn mode(&self, part: PartId) -> Option<usize> {
        self.modes[part]
    }

    fn moment(&mut self, drives: &[Drive], state: &State) -> Arc<Moment> {
        let driven = self.driven(drives);
        self.last.0 = driven;
        self.last.1.clone_from(state);
        let faults = std::mem::take(&mut self.faults);
        let setting = self.setting(driven, state, false);
        let mut found = self.find(setting, &faults);
        if self.kept[found as usize].exact {
            self.heard.temperature = true;
            let known = &self.settings[setting as usize].state;
            if (known.level_l, known.temperature_c) != (state.level_l, state.temperature_c) {
                let setting = self.setting(driven, state, true);
                found = self.find(setting, &faults);
            }
        }
        self.faults = faults;
        let found = &self.kept[found as usize];
        self.heard.parts.join(&found.loud);
        Arc::clone(&found.moment)
    }

    fn input_ohms(&mut self, input: InputId, state: &State, dead: bool) -> f64 {
        self.ohms_at(input, state, dead)
    }

    fn passage(&self, part: PartId, medium: Medium) -> Passage {
        chain(self.solver.machine, &self.modes, part, medium)
    }

    fn holds_door(&self, output: OutputId) -> bool {
        self.solver.holds_door.contains(&output)
    }
}
