//! The steps of the service test, one after the other, with the state that each leaves to the next.

use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::moment::{Moment, Solver, chain};
use crate::prediction::{Estimate, Prediction, Trip};
use crate::sweep::Heard;
use machine::kind::Medium;
use machine::model::{
    CodeId, Condition, Drive, Machine, Moment as When, Otherwise, OutputId, PartId, Step, Test,
};

/// Specific heat of water, J/(kg K), within 0.3 % from 10 to 70 °C (IAPWS R6-95).
const WATER_J_KG_K: f64 = 4184.0;

/// Relative standard uncertainty of a rise of temperature: what the metal takes up, dead time of the rod (estimate).
const RISE_U: f64 = 0.2;

/// Relative standard uncertainty of a drum's speed under the board's control (common practice, no source).
const SPEED_U: f64 = 0.02;

/// Smallest speed at which a person sees a drum turn, rpm.
const TURNS_FROM_RPM: f64 = 5.0;

/// What one step leaves to the next.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Water in the machine, l.
    pub level_l: f64,
    /// Temperature of water and parts, °C.
    pub temperature_c: f64,
    /// The bolt is home.
    pub locked: bool,
    /// The stored code.
    pub code: Option<CodeId>,
    /// The test is over, and why: a guard ended it, or a protection went off.
    pub over: bool,
    /// The protection that went off.
    pub trip: Option<Trip>,
}

impl State {
    /// At the start of a test.
    pub fn start(conditions: &Conditions) -> State {
        State {
            level_l: conditions.water_l,
            temperature_c: conditions.ambient_c,
            locked: false,
            code: None,
            over: false,
            trip: None,
        }
    }
}

/// All steps of the service test under a hypothesis.
pub fn predict(machine: &Machine, hypothesis: &Hypothesis, conditions: &Conditions) -> Vec<Prediction> {
    Bench::new(machine).predict(hypothesis, conditions)
}

/// Predicts many hypotheses of one machine, keeping its work space.
pub struct Bench<'m> {
    solver: Solver<'m>,
}

/// What the board ended up driving in a step.
struct Driven {
    moment: Moment,
    drives: Vec<Drive>,
    refused: Vec<OutputId>,
    jerked: bool,
    /// Power before a guard that watches stopped something, W.
    tried_w: Option<f64>,
}

impl<'m> Bench<'m> {
    /// For this machine.
    pub fn new(machine: &'m Machine) -> Self {
        Bench { solver: Solver::new(machine) }
    }

    /// All steps under a hypothesis.
    pub fn predict(&mut self, hypothesis: &Hypothesis, conditions: &Conditions) -> Vec<Prediction> {
        let machine = self.solver.machine;
        let modes = hypothesis.modes(machine);
        let mut state = State::start(conditions);
        machine.test.steps.iter().map(|step| self.step(step, &modes, conditions, &mut state)).collect()
    }

    /// One step from a given state, which it moves on.
    pub fn step(
        &mut self,
        step: &Step,
        modes: &[Option<usize>],
        conditions: &Conditions,
        state: &mut State,
    ) -> Prediction {
        self.solver.heard.clear();
        if state.trip.is_some() {
            return nothing(step, state, conditions);
        }
        let wanted: Vec<Drive> = if state.over { Vec::new() } else { step.drives.clone() };
        let right = self.drive(&wanted, modes, conditions, state);
        let left: Vec<Drive> =
            wanted.iter().map(|d| Drive { rpm: if d.both_ways { -d.rpm } else { d.rpm }, ..*d }).collect();
        let other = (left != wanted).then(|| self.drive(&left, modes, conditions, state));
        let rest_w = other.is_some().then(|| {
            let still: Vec<Drive> = right.drives.iter().filter(|d| !d.both_ways).cloned().collect();
            self.solver.moment(modes, &still, state, conditions.supply_v).plug.power_w
        });
        let prediction = self.finish(step, modes, conditions, state, &right, other.as_ref());
        Prediction { rest_w: rest_w.filter(|_| prediction.trip.is_none()), ..prediction }
    }

    /// What the last step depended on.
    pub(crate) fn heard(&self) -> &Heard {
        &self.solver.heard
    }

    /// Drives outputs as far as the guards let it.
    fn drive(
        &mut self,
        wanted: &[Drive],
        modes: &[Option<usize>],
        conditions: &Conditions,
        state: &mut State,
    ) -> Driven {
        let volts = conditions.supply_v;
        let machine = self.solver.machine;
        let idle = self.solver.moment(modes, &[], state, volts);
        let alive: Vec<Drive> =
            wanted.iter().filter(|d| idle.board_runs(machine.outputs[d.output].board)).cloned().collect();
        let (guarded, mut drives): (Vec<Drive>, Vec<Drive>) = alive
            .into_iter()
            .partition(|d| machine.guards.iter().any(|g| g.output == d.output && g.moment == When::Before));
        let mut moment =
            if drives.is_empty() { idle } else { self.solver.moment(modes, &drives, state, volts) };
        let mut refused = Vec::new();
        let mut waiting = guarded;
        // Guards that hold let their outputs on together; what comes on may let more guards hold.
        loop {
            let (ready, rest): (Vec<Drive>, Vec<Drive>) = waiting
                .into_iter()
                .partition(|d| self.failing(When::Before, d, modes, &moment, state).is_none());
            waiting = rest;
            if ready.is_empty() {
                break;
            }
            drives.extend(ready);
            moment = self.solver.moment(modes, &drives, state, volts);
        }
        for drive in waiting {
            let Some((otherwise, code)) = self.failing(When::Before, &drive, modes, &moment, state) else {
                continue;
            };
            refused.push(drive.output);
            state.code = state.code.or(code);
            if carry_out(otherwise, &mut drives, &mut refused, state) {
                moment = self.solver.moment(modes, &drives, state, volts);
                break;
            }
        }
        let mut driven = Driven { moment, drives, refused, jerked: false, tried_w: None };
        self.watch(&mut driven, modes, volts, state);
        driven
    }

    /// The guards that watch while outputs are driven.
    fn watch(&mut self, driven: &mut Driven, modes: &[Option<usize>], volts: f64, state: &mut State) {
        for drive in driven.drives.clone() {
            let failing = self.failing(When::While, &drive, modes, &driven.moment, state);
            let Some((otherwise, code)) = failing else { continue };
            driven.jerked |= drive.rpm != 0.0 && driven.moment.plug.current_a > 0.0;
            driven.tried_w.get_or_insert(driven.moment.plug.power_w);
            driven.refused.push(drive.output);
            driven.drives.retain(|d| d.output != drive.output);
            state.code = state.code.or(code);
            carry_out(otherwise, &mut driven.drives, &mut driven.refused, state);
            driven.moment = self.solver.moment(modes, &driven.drives, state, volts);
        }
    }

    /// The first need of the output's guards that does not hold: what the guard does, and the code.
    fn failing(
        &mut self,
        when: When,
        drive: &Drive,
        modes: &[Option<usize>],
        moment: &Moment,
        state: &State,
    ) -> Option<(Otherwise, Option<CodeId>)> {
        let machine = self.solver.machine;
        for guard in machine.guards.iter().filter(|g| g.output == drive.output && g.moment == when) {
            for (need, code) in &guard.needs {
                if !self.solver.holds(need, modes, moment, state, drive.rpm) {
                    return Some((guard.otherwise, *code));
                }
            }
        }
        None
    }

    fn finish(
        &mut self,
        step: &Step,
        modes: &[Option<usize>],
        conditions: &Conditions,
        state: &mut State,
        right: &Driven,
        other: Option<&Driven>,
    ) -> Prediction {
        let machine = self.solver.machine;
        let all: Vec<&Driven> = std::iter::once(right).chain(other).collect();
        let trip = all.iter().find_map(|d| d.moment.trip.clone());
        let board_runs = main_board(machine).is_none_or(|board| right.moment.board_runs(board));
        let (lasts_s, timed_out) = self.duration(step, modes, state, right);
        let (net_l_min, heat_w) = self.flows(modes, &right.moment);
        let before_l = state.level_l;
        state.level_l = (state.level_l + net_l_min * lasts_s / 60.0).max(0.0);
        let heated_kg = f64::midpoint(before_l, state.level_l);
        let capacity = heated_kg * WATER_J_KG_K + machine.plate.heat_capacity_j_k.max(1.0);
        let rise = heat_w * lasts_s / capacity;
        state.temperature_c = (state.temperature_c + rise).min(300.0);
        state.locked = right.moment.locked();
        state.trip.clone_from(&trip);
        state.over |= trip.is_some();

        let mut signs: Vec<&'static str> =
            all.iter().flat_map(|d| d.moment.effects.iter()).flat_map(|e| e.signs.iter().copied()).collect();
        let speeds: Vec<f64> = all.iter().map(|d| d.moment.drum_rpm).collect();
        let turning = speeds.iter().filter(|s| s.abs() > TURNS_FROM_RPM).count();
        if turning > 0 {
            signs.push("drum turns");
        }
        if all.iter().any(|d| d.jerked) {
            signs.push("jerks");
        }
        signs.sort_unstable();
        signs.dedup();
        let mut refused: Vec<OutputId> = all.iter().flat_map(|d| d.refused.iter().copied()).collect();
        refused.sort_unstable();
        refused.dedup();
        let one_way =
            speeds.len() == 2 && (turning == 1 || speeds[0].signum() == speeds[1].signum() && turning == 2);
        let speed =
            if speeds.len() == 2 { speeds.iter().map(|s| s.abs()).fold(0.0, f64::max) } else { speeds[0] };
        let off = trip.is_some();
        Prediction {
            step: step.id.clone(),
            power_w: if off { Estimate::default() } else { power(&all, conditions) },
            directions_w: other
                .filter(|_| !off)
                .map(|left| [right.moment.plug.power_w, left.moment.plug.power_w]),
            rest_w: None,
            tried_w: all.iter().filter_map(|d| d.tried_w).reduce(f64::max),
            current_a: if off { Estimate::default() } else { current(&all, conditions) },
            apparent_va: if off { 0.0 } else { mean(&all, |m| m.plug.apparent_va) },
            power_factor: if off { None } else { right.moment.plug.power_factor },
            speed_rpm: Estimate { value: if off { 0.0 } else { speed }, u: SPEED_U * speed.abs() },
            one_way,
            water_l: state.level_l,
            rise_k: Estimate { value: rise, u: RISE_U * rise.abs() },
            lasts_s,
            timed_out,
            refused,
            code: state.code,
            code_shown: board_runs && state.code.is_some() && (step.shows_code || state.over),
            signs,
            earth_a: all.iter().map(|d| d.moment.earth_a).fold(0.0, f64::max),
            trip,
            ended: state.over,
        }
    }

    /// Net water in, l/min, and heat, W.
    fn flows(&self, modes: &[Option<usize>], moment: &Moment) -> (f64, f64) {
        let (mut litres, mut watts) = (0.0, 0.0);
        for (id, effect) in moment.effects.iter().enumerate() {
            watts += effect.heat_w;
            if effect.water_in_l_min != 0.0 || effect.water_out_l_min != 0.0 {
                let passage = chain(self.solver.machine, modes, id, Medium::Water).factor;
                litres += (effect.water_in_l_min - effect.water_out_l_min) * passage;
            }
        }
        (litres, watts)
    }

    /// How long the step lasts, and whether it ran out of time.
    fn duration(
        &mut self,
        step: &Step,
        modes: &[Option<usize>],
        state: &State,
        driven: &Driven,
    ) -> (f64, bool) {
        let longest = step.at_most_s.unwrap_or(step.lasts_s);
        let Some(until) = &step.until else { return (step.lasts_s, false) };
        if driven.drives.is_empty() {
            return (longest, true);
        }
        let (net_l_min, heat_w) = self.flows(modes, &driven.moment);
        let capacity = state.level_l * WATER_J_KG_K + self.solver.machine.plate.heat_capacity_j_k.max(1.0);
        let at = |seconds: f64| State {
            level_l: (state.level_l + net_l_min * seconds / 60.0).max(0.0),
            temperature_c: state.temperature_c + heat_w * seconds / capacity,
            ..state.clone()
        };
        if !self.holds_at(until, modes, &driven.moment, &at(longest)) {
            return (longest, true);
        }
        let (mut early, mut late) = (0.0, longest);
        if self.holds_at(until, modes, &driven.moment, &at(0.0)) {
            return (0.0, false);
        }
        // Level and temperature run one way within a step, so that the moment can be closed in on.
        for _ in 0..20 {
            let middle = f64::midpoint(early, late);
            if self.holds_at(until, modes, &driven.moment, &at(middle)) {
                late = middle;
            } else {
                early = middle;
            }
        }
        (late, false)
    }

    /// Would a condition hold at another level and temperature, all else as in this moment?
    fn holds_at(
        &mut self,
        until: &Condition,
        modes: &[Option<usize>],
        moment: &Moment,
        state: &State,
    ) -> bool {
        let by_ohms = matches!(
            self.solver.machine.inputs[until.input].senses,
            machine::model::Senses::Ohms(..) | machine::model::Senses::Contact(..)
        );
        if by_ohms {
            self.solver.dead(modes, state);
        }
        let wanted = if let Test::FollowsWithin(_) = until.test { moment.drum_rpm } else { 0.0 };
        self.solver.holds(until, modes, moment, state, wanted)
    }
}

/// The board that shows codes: the one with the most outputs; of equals, the first by name.
fn main_board(machine: &Machine) -> Option<PartId> {
    let outputs = |board: PartId| machine.outputs.iter().filter(|o| o.board == board).count();
    let name = |board: PartId| std::cmp::Reverse(machine.parts[board].id.as_str());
    machine.outputs.iter().map(|o| o.board).max_by_key(|&board| (outputs(board), name(board)))
}

/// Carries out what a guard does beyond refusing its own output; true if all is off now.
fn carry_out(
    what: Otherwise,
    drives: &mut Vec<Drive>,
    refused: &mut Vec<OutputId>,
    state: &mut State,
) -> bool {
    if what == Otherwise::KeepsOff {
        return false;
    }
    state.over |= what == Otherwise::EndsTest;
    refused.extend(drives.drain(..).map(|d| d.output));
    true
}

fn mean(all: &[&Driven], of: impl Fn(&Moment) -> f64) -> f64 {
    all.iter().map(|d| of(&d.moment)).sum::<f64>() / all.len().max(1) as f64
}

/// Power with its uncertainty: parts' tolerances, supply (P ∝ V² for loads that do not regulate) and meter, independent.
fn power(all: &[&Driven], conditions: &Conditions) -> Estimate {
    let value = mean(all, |m| m.plug.power_w);
    let parts = mean(all, |m| m.power_u_w);
    let supply = 2.0 * value * conditions.supply_u_v / conditions.supply_v.max(1.0);
    Estimate { value, u: parts.hypot(supply).hypot(conditions.meter.u_w(value)) }
}

fn current(all: &[&Driven], conditions: &Conditions) -> Estimate {
    let value = mean(all, |m| m.plug.current_a);
    let parts = mean(all, |m| m.current_u_a);
    let volts = conditions.supply_v.max(1.0);
    let supply = value * conditions.supply_u_v / volts;
    Estimate { value, u: parts.hypot(supply).hypot(conditions.meter.u_w(value * volts) / volts) }
}

/// A step after a protection went off.
fn nothing(step: &Step, state: &State, conditions: &Conditions) -> Prediction {
    let silent = Estimate { value: 0.0, u: conditions.meter.u_w(0.0) };
    Prediction {
        step: step.id.clone(),
        power_w: silent,
        directions_w: None,
        rest_w: None,
        tried_w: None,
        current_a: Estimate::default(),
        apparent_va: 0.0,
        power_factor: None,
        speed_rpm: Estimate::default(),
        one_way: false,
        water_l: state.level_l,
        rise_k: Estimate::default(),
        lasts_s: step.lasts_s,
        timed_out: false,
        refused: Vec::new(),
        code: state.code,
        code_shown: false,
        signs: Vec::new(),
        earth_a: 0.0,
        trip: state.trip.clone(),
        ended: true,
    }
}
