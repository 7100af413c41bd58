//! Days of ordinary use, made from what the machine file says of its functions.

use crate::dice::{Dice, Purpose};
use crate::meter::samples;
use crate::record::conditions;
use crate::rig::{plain_step, unwatched};
use crate::setting::Setting;
use crate::stage::Stage;
use bench::{Bench, Conditions, Hypothesis, State};
use machine::model::{Function, Machine, Step};
use trace::Sample;

const DAY_S: f64 = 86_400.0;

/// A drum this fast spins, rpm.
const SPINS_FROM_RPM: f64 = 300.0;

/// More or less water than this is a fill or a drain, l.
const MOVES_WATER_FROM_L: f64 = 0.3;

/// A spin's run-up in ordinary use, with the wash spread and stops between, s. Common practice, no source.
const SPIN_RAMP_S: f64 = 90.0;

/// What a function is for, judged by what it does in a healthy machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Use {
    Fills,
    Empties,
    Heats,
    Spins,
    Works,
    /// Over at once: locking, mostly.
    Brief,
}

/// Days of ordinary use from midnight on: one or two programmes a day, standby in between at 0 W.
///
/// A machine that takes and gives water fills, heats and turns, rinses twice and spins; any other runs its functions in
/// the file's order and then holds its heat. A programme whose step does not come to its end stops there, as the
/// board would stop it. Once a protection of the house has gone off there is nothing more. At a sample a second a day
/// takes about 5 MB.
pub fn household(
    machine: &Machine,
    hypothesis: &Hypothesis,
    setting: &Setting,
    days: u32,
    seed: u64,
) -> Vec<Sample> {
    let free = unwatched(machine);
    let at = conditions(setting);
    let mut dice = Dice::new(seed, Purpose::Household);
    let course = Dice::new(seed, Purpose::Course);
    let stage = Stage::new(machine, &free, hypothesis, at, setting.intermittent, true, course);
    let (uses, ends): (Vec<Use>, Vec<bool>) = uses(machine, &at).into_iter().unzip();
    let wet = [Use::Fills, Use::Empties].iter().all(|u| uses.contains(u));
    let mut home = Home { machine, stage, uses, ends, ambient_c: setting.ambient_c };
    for day in 0..days {
        let mut starts: Vec<f64> =
            (0..=dice.below(2)).map(|_| DAY_S * (f64::from(day) + dice.between(0.3, 0.85))).collect();
        starts.sort_by(f64::total_cmp);
        for start in starts {
            // Two hours and more apart, or the later one is left out.
            if start > home.stage.course.now_s {
                home.off_until(start);
                home.stage.state.temperature_c = home.ambient_c;
                let finished = if wet { home.wash(&mut dice) } else { home.run_dry(&mut dice) };
                // Whether or not it came to its end, the owner switches off after a while.
                home.stage.idle(if finished { dice.between(30.0, 300.0) } else { 600.0 });
                home.stage.state.code = None;
                home.stage.state.level_l = 0.0;
            }
        }
    }
    home.off_until(DAY_S * f64::from(days));
    samples(&home.stage.course, &setting.meter, &setting.supply, &[], &mut [], seed)
}

struct Home<'m> {
    machine: &'m Machine,
    stage: Stage<'m>,
    uses: Vec<Use>,
    /// Per function: a healthy machine gets done with it in time.
    ends: Vec<bool>,
    ambient_c: f64,
}

impl Home<'_> {
    fn off_until(&mut self, t: f64) {
        self.stage.off((t - self.stage.course.now_s).max(0.0));
    }

    fn first(&self, wanted: Use) -> Option<&Function> {
        self.uses.iter().position(|u| *u == wanted).map(|i| &self.machine.functions[i])
    }

    /// A function for so long, or until it is done; false if it should have been done and was not.
    fn run(&mut self, function: &Function, seconds: f64) -> bool {
        let step = as_step(function, seconds);
        let played = self.stage.play(&step, None);
        let dead = self.stage.course.is_dead() || self.stage.state.over;
        let unfinished = self.comes_to_its_end(function) && played.prediction.timed_out;
        !(dead || unfinished)
    }

    /// Does a healthy machine come to the end of this function in the file's time?
    fn comes_to_its_end(&self, function: &Function) -> bool {
        let at = self.machine.functions.iter().position(|f| f.name == function.name);
        function.until.is_some() && at.is_some_and(|i| self.ends[i])
    }

    fn run_first(&mut self, wanted: Use, seconds: f64) -> bool {
        self.first(wanted).cloned().is_none_or(|f| self.run(&f, seconds))
    }

    /// Fill and soak, heat, wash with up to two reheats, two rinses with a short spin each, spin, loosen.
    fn wash(&mut self, dice: &mut Dice) -> bool {
        self.stage.idle(dice.between(5.0, 30.0));
        let washed = self.run_first(Use::Fills, 120.0)
            && self.run_first(Use::Works, dice.between(60.0, 400.0))
            && self.run_first(Use::Heats, 600.0)
            && self.reheat(dice)
            && self.run_first(Use::Works, 60.0 * dice.between(5.0, 15.0))
            && self.run_first(Use::Empties, 120.0);
        if !washed {
            return false;
        }
        for _ in 0..2 {
            let rinsed = self.spin(dice.between(40.0, 100.0), dice)
                && self.run_first(Use::Fills, 120.0)
                && self.run_first(Use::Works, 60.0 * dice.between(2.0, 4.0))
                && self.run_first(Use::Empties, 120.0);
            if !rinsed {
                return false;
            }
        }
        self.spin(dice.between(240.0, 600.0), dice) && self.run_first(Use::Works, dice.between(40.0, 120.0))
    }

    fn reheat(&mut self, dice: &mut Dice) -> bool {
        (0..dice.below(3)).all(|_| {
            let works = self.run_first(Use::Works, dice.between(180.0, 500.0));
            self.stage.state.temperature_c -= dice.between(1.0, 2.5);
            works && self.run_first(Use::Heats, 60.0)
        })
    }

    /// A spin, after up to three tries that end early because the wash lies badly.
    fn spin(&mut self, seconds: f64, dice: &mut Dice) -> bool {
        for _ in 0..dice.below(4) {
            if !self.run_first(Use::Spins, dice.between(8.0, 25.0)) {
                return false;
            }
            self.stage.idle(dice.between(3.0, 12.0));
        }
        self.run_first(Use::Spins, seconds)
    }

    /// What heats comes first and holds its heat; then the other functions, in the file's order.
    fn run_dry(&mut self, dice: &mut Dice) -> bool {
        self.stage.idle(dice.between(5.0, 30.0));
        let machine = self.machine;
        let all = || machine.functions.iter().zip(self.uses.clone());
        let heaters: Vec<&Function> =
            all().filter(|(f, u)| *u == Use::Heats && f.until.is_some()).map(|(f, _)| f).collect();
        let others: Vec<&Function> =
            all().filter(|(f, u)| *u != Use::Heats || f.until.is_none()).map(|(f, _)| f).collect();
        for function in heaters {
            if !self.run(function, 0.0) || !self.hold_heat(function, dice) {
                return false;
            }
        }
        others.into_iter().all(|function| {
            self.stage.state.level_l = self.stage.state.level_l.max(function.water_l);
            self.run(function, dice.between(60.0, 400.0))
        })
    }

    /// Heat off and on again, as a thermostat has it.
    fn hold_heat(&mut self, function: &Function, dice: &mut Dice) -> bool {
        let hot = Function { until: None, ..function.clone() };
        let cold = Function { drives: self.stage.without_heat(&function.drives), ..hot.clone() };
        (0..4 + dice.below(8)).all(|_| {
            // The bench knows one temperature for all of a machine: its walls, where the cut-outs sit, stay cooler.
            self.stage.state.temperature_c = self.ambient_c;
            self.run(&cold, dice.between(30.0, 120.0)) && self.run(&hot, dice.between(40.0, 150.0))
        })
    }
}

/// A function of the file as a step of the bench: until it is done where it says so, else for `seconds`.
pub(crate) fn as_step(function: &Function, seconds: f64) -> Step {
    let fast = function.drives.iter().any(|d| d.rpm.abs() >= SPINS_FROM_RPM);
    let (until, at_most_s) = match &function.until {
        Some((condition, within_s)) => (Some(condition.clone()), Some(*within_s)),
        None => (None, None),
    };
    Step {
        id: function.name.clone(),
        until,
        at_most_s,
        ramp_s: if fast { SPIN_RAMP_S } else { 0.0 },
        ..plain_step(function.drives.clone(), at_most_s.unwrap_or(seconds))
    }
}

/// Where a function starts from: the water that the file says, everything else at rest.
pub(crate) fn before(function: &Function, conditions: &Conditions) -> State {
    State { level_l: function.water_l, ..State::start(conditions) }
}

/// What each function is for, and whether a healthy machine gets done with it in time.
fn uses(machine: &Machine, conditions: &Conditions) -> Vec<(Use, bool)> {
    let mut bench = Bench::new(machine);
    let modes = vec![None; machine.parts.len()];
    let one = |function: &Function| {
        let p = bench.step(&as_step(function, 60.0), &modes, conditions, &mut before(function, conditions));
        let moved_l = p.water_l - function.water_l;
        let used = if moved_l > MOVES_WATER_FROM_L {
            Use::Fills
        } else if moved_l < -MOVES_WATER_FROM_L {
            Use::Empties
        } else if p.rise_k.value > 0.5 {
            Use::Heats
        } else if p.speed_rpm.value.abs() >= SPINS_FROM_RPM {
            Use::Spins
        } else if p.lasts_s < 5.0 {
            Use::Brief
        } else {
            Use::Works
        };
        (used, !p.timed_out)
    };
    machine.functions.iter().map(one).collect()
}
