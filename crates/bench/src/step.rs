//! The steps of the service test, one after the other, with the state that each leaves to the next.

use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::moment::{Asked, Moment, Solver, at_rest, chain};
use crate::prediction::{Estimate, Prediction, Trip};
use crate::sense::holds;
use machine::kind::{Flows, Medium, Panel, Passage, Situation};
use machine::model::{
    CodeId, Condition, Drive, InputId, Machine, Moment as When, Otherwise, OutputId, PartId, Senses, Step,
    Test,
};
use std::sync::Arc;

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
    /// Flows of water against the file's, as a share; the same in all of a test.
    pub flows: f64,
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
            flows: conditions.flows,
            locked: false,
            code: None,
            over: false,
            trip: None,
        }
    }

    /// A temperature after a rise, °C. No part of these machines gets hotter than a cleaning oven.
    pub(crate) fn warmed(temperature_c: f64, rise_k: f64) -> f64 {
        (temperature_c + rise_k).min(300.0)
    }
}

/// All steps of the service test under a hypothesis.
pub fn predict(machine: &Machine, hypothesis: &Hypothesis, conditions: &Conditions) -> Vec<Prediction> {
    Bench::new(machine).predict(hypothesis, conditions)
}

/// Where a step gets its instants from: solved one by one ([`Bench`]), or shared between hypotheses
/// ([`crate::Sweep`]). The hypothesis and the supply are theirs to know.
pub(crate) trait Instants<'m> {
    /// The machine.
    fn machine(&self) -> &'m Machine;
    /// The mode of a part.
    fn mode(&self, part: PartId) -> Option<usize>;
    /// The instant in which the board drives these outputs.
    fn moment(&mut self, drives: &[Drive], state: &State) -> Arc<Moment>;
    /// Ohms at an input ([`Solver::input_ohms`]): in the last moment asked for, or of the dead machine in this state.
    fn input_ohms(&mut self, input: InputId, state: &State, dead: bool) -> f64;
    /// How the chain behind a part passes on what moves through it.
    fn passage(&self, part: PartId, medium: Medium) -> Passage;
    /// Does this output hold the door?
    fn holds_door(&self, output: OutputId) -> bool;
}

/// Predicts many hypotheses of one machine, keeping its work space.
pub struct Bench<'m> {
    solver: Solver<'m>,
}

/// One hypothesis, every instant solved.
struct Alone<'b, 'm> {
    solver: &'b mut Solver<'m>,
    modes: &'b [Option<usize>],
    supply_v: f64,
}

impl<'m> Instants<'m> for Alone<'_, 'm> {
    fn machine(&self) -> &'m Machine {
        self.solver.machine
    }

    fn mode(&self, part: PartId) -> Option<usize> {
        self.modes[part]
    }

    fn moment(&mut self, drives: &[Drive], state: &State) -> Arc<Moment> {
        Arc::new(self.solver.moment(self.modes, drives, state, self.supply_v, Asked::default()))
    }

    fn input_ohms(&mut self, input: InputId, state: &State, dead: bool) -> f64 {
        if dead {
            self.solver.dead(self.modes, state);
        }
        self.solver.input_ohms(input)
    }

    fn passage(&self, part: PartId, medium: Medium) -> Passage {
        chain(self.solver.machine, self.modes, part, medium)
    }

    fn holds_door(&self, output: OutputId) -> bool {
        self.solver.holds_door.contains(&output)
    }
}

/// What the board ended up driving in a step.
struct Driven {
    moment: Arc<Moment>,
    drives: Vec<Drive>,
    refused: Vec<OutputId>,
    jerked: bool,
    /// A guard ended it: nothing more is tried in this step.
    stopped: bool,
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
        let mut alone = Alone { solver: &mut self.solver, modes, supply_v: conditions.supply_v };
        run(&mut alone, step, conditions, state)
    }
}

/// What is driven in the end in a step, and the state that it is driven in; none where a protection is off. The state is
/// moved on to the end of the step.
pub(crate) fn settled(
    solver: &mut Solver<'_>,
    step: &Step,
    modes: &[Option<usize>],
    conditions: &Conditions,
    state: &mut State,
) -> Option<(Vec<Drive>, State)> {
    let before = state.clone();
    let mut alone = Alone { solver, modes, supply_v: conditions.supply_v };
    let _ = run(&mut alone, step, conditions, state);
    if before.trip.is_some() {
        return None;
    }
    let wanted: &[Drive] = if before.over { &[] } else { &step.drives };
    let driven = drive(&mut alone, wanted, &mut before.clone());
    Some((driven.drives, before))
}

/// One step from a given state, which it moves on.
pub(crate) fn run<'m>(
    instants: &mut impl Instants<'m>,
    step: &Step,
    conditions: &Conditions,
    state: &mut State,
) -> Prediction {
    if state.trip.is_some() {
        return nothing(step, state, conditions);
    }
    let wanted: &[Drive] = if state.over { &[] } else { &step.drives };
    let right = drive(instants, wanted, state);
    // A board that has stopped the step does not try the other way.
    let both_ways = !right.stopped && wanted.iter().any(|d| d.both_ways && d.rpm != 0.0);
    let other = both_ways.then(|| {
        let back = |d: &Drive| Drive { rpm: if d.both_ways { -d.rpm } else { d.rpm }, ..*d };
        let left: Vec<Drive> = wanted.iter().map(back).collect();
        drive(instants, &left, state)
    });
    let rest_w = other.is_some().then(|| {
        let still: Vec<Drive> = right.drives.iter().filter(|d| !d.both_ways).cloned().collect();
        instants.moment(&still, state).plug.power_w
    });
    let prediction = finish(instants, step, conditions, state, &right, other.as_ref());
    Prediction { rest_w: rest_w.filter(|_| prediction.trip.is_none()), ..prediction }
}

/// Drives outputs as far as the guards let it.
fn drive<'m>(instants: &mut impl Instants<'m>, wanted: &[Drive], state: &mut State) -> Driven {
    let machine = instants.machine();
    let idle = instants.moment(&[], state);
    if idle.trip.is_some() {
        // It went off as the machine was switched on: nothing is driven any more, and nothing is seen or heard.
        let moment = Arc::new(Moment { doing: Vec::new(), ..Moment::clone(&idle) });
        let (drives, refused) = (Vec::new(), Vec::new());
        return Driven { moment, drives, refused, jerked: false, stopped: true, tried_w: None };
    }
    // Whoever cannot press a key neither enters the test nor goes on in it.
    let deaf = idle.panel(Panel::Deaf);
    state.over |= deaf;
    let alive = wanted.iter().filter(|d| !deaf && idle.board_runs(machine.outputs[d.output].board)).cloned();
    let (mut waiting, mut drives): (Vec<Drive>, Vec<Drive>) =
        alive.partition(|d| machine.guards.iter().any(|g| g.output == d.output && g.moment == When::Before));
    let mut moment = if drives.is_empty() { idle } else { instants.moment(&drives, state) };
    let (mut refused, mut stopped) = (Vec::new(), false);
    // Guards that hold let their outputs on together; what comes on may let more guards hold.
    while !waiting.is_empty() {
        let (ready, rest): (Vec<Drive>, Vec<Drive>) =
            waiting.into_iter().partition(|d| failing(instants, When::Before, d, &moment, state).is_none());
        waiting = rest;
        if ready.is_empty() {
            break;
        }
        drives.extend(ready);
        moment = instants.moment(&drives, state);
    }
    for (place, drive) in waiting.iter().enumerate() {
        let Some((otherwise, code)) = failing(instants, When::Before, drive, &moment, state) else {
            continue;
        };
        refused.push(drive.output);
        state.code = state.code.or(code);
        if carry_out(instants, otherwise, &mut drives, &mut refused, state) {
            refused.extend(waiting[place + 1..].iter().map(|d| d.output));
            stopped = true;
            moment = instants.moment(&drives, state);
            break;
        }
    }
    let mut driven = Driven { moment, drives, refused, jerked: false, stopped, tried_w: None };
    watch(instants, &mut driven, state);
    driven
}

/// The guards that watch while outputs are driven.
fn watch<'m>(instants: &mut impl Instants<'m>, driven: &mut Driven, state: &mut State) {
    let machine = instants.machine();
    let watched = |d: &&Drive| machine.guards.iter().any(|g| g.output == d.output && g.moment == When::While);
    let drives: Vec<Drive> = driven.drives.iter().filter(watched).cloned().collect();
    for drive in drives {
        let failing = failing(instants, When::While, &drive, &driven.moment, state);
        let Some((otherwise, code)) = failing else { continue };
        driven.jerked |= drive.rpm != 0.0 && driven.moment.plug.current_a > 0.0;
        driven.tried_w.get_or_insert(driven.moment.plug.power_w);
        driven.refused.push(drive.output);
        driven.drives.retain(|d| d.output != drive.output);
        state.code = state.code.or(code);
        let all_off = carry_out(instants, otherwise, &mut driven.drives, &mut driven.refused, state);
        driven.stopped |= all_off || drive.both_ways;
        driven.moment = instants.moment(&driven.drives, state);
    }
}

/// The first need of the output's guards that does not hold: what the guard does, and the code.
fn failing<'m>(
    instants: &mut impl Instants<'m>,
    when: When,
    drive: &Drive,
    moment: &Moment,
    state: &State,
) -> Option<(Otherwise, Option<CodeId>)> {
    let machine = instants.machine();
    for guard in machine.guards.iter().filter(|g| g.output == drive.output && g.moment == when) {
        for (need, code) in &guard.needs {
            if !holds(instants, need, moment, state, drive.rpm, false) {
                return Some((guard.otherwise, *code));
            }
        }
    }
    None
}

fn finish<'m>(
    instants: &mut impl Instants<'m>,
    step: &Step,
    conditions: &Conditions,
    state: &mut State,
    right: &Driven,
    other: Option<&Driven>,
) -> Prediction {
    let machine = instants.machine();
    let all: Vec<&Driven> = std::iter::once(right).chain(other).collect();
    // Stopped the other way: one turn right, one try left, and what is left on goes on to the end of the step.
    let stopped_left = other.filter(|left| left.stopped);
    let after = stopped_left.unwrap_or(right);
    let settled = if stopped_left.is_some() { &all[1..] } else { &all[..] };
    let trip = all.iter().find_map(|d| d.moment.trip.clone());
    let board_runs = main_board(machine).is_none_or(|board| right.moment.board_runs(board));
    let mut signs: Vec<&'static str> = Vec::new();
    for driven in &all {
        heard_turning(instants, &driven.moment, state, &mut signs);
    }
    let (lasts_s, timed_out) = duration(instants, step, state, after);
    let (net_l_min, heat_w) = flows(instants, state, &after.moment);
    let before_l = state.level_l;
    state.level_l = (state.level_l + net_l_min * lasts_s / 60.0).max(0.0);
    let heated_kg = f64::midpoint(before_l, state.level_l);
    let capacity = heated_kg * WATER_J_KG_K + machine.plate.heat_capacity_j_k.max(1.0);
    let rise = heat_w * lasts_s / capacity;
    state.temperature_c = State::warmed(state.temperature_c, rise);
    state.locked = after.moment.locked();
    state.trip.clone_from(&trip);
    state.over |= trip.is_some();

    for sign in all.iter().flat_map(|d| &d.moment.doing).flat_map(|d| &d.1.signs) {
        if !signs.contains(sign) {
            signs.push(sign);
        }
    }
    let speeds: Vec<f64> = all.iter().map(|d| d.moment.drum_rpm).collect();
    let turning = speeds.iter().filter(|s| s.abs() > TURNS_FROM_RPM).count();
    if turning > 0 {
        signs.push("drum turns");
    }
    if all.iter().any(|d| d.jerked) {
        signs.push("jerks");
    }
    let panel = &right.moment;
    let dark = !board_runs || panel.panel(Panel::Dark);
    if dark {
        signs.push("display dark");
    } else if panel.panel(Panel::Patchy) {
        signs.push("figures missing");
    }
    if panel.panel(Panel::Deaf) {
        signs.push("keys dead");
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
        power_w: if off { Estimate::default() } else { power(settled, conditions) },
        directions_w: other
            .filter(|_| !off)
            .map(|left| [power(&[right], conditions), power(&[left], conditions)]),
        rest_w: None,
        tried_w: all.iter().filter_map(|d| d.tried_w).reduce(f64::max),
        current_a: if off { Estimate::default() } else { current(settled, conditions) },
        apparent_va: if off { 0.0 } else { mean(settled, |m| m.plug.apparent_va) },
        power_factor: if off { None } else { after.moment.plug.power_factor },
        speed_rpm: Estimate { value: if off { 0.0 } else { speed }, u: SPEED_U * speed.abs() },
        one_way,
        water_l: state.level_l,
        rise_k: Estimate { value: rise, u: RISE_U * rise.abs() },
        lasts_s,
        timed_out,
        refused,
        code: state.code,
        code_shown: !dark && state.code.is_some() && (step.shows_code || state.over),
        signs,
        earth_a: all.iter().map(|d| d.moment.earth_a).fold(0.0, f64::max),
        trip,
        ended: state.over,
    }
}

/// What is seen and heard of the parts that a motor turns, at the speed that comes out: a worn bearing roars, a belt that
/// slips squeals.
fn heard_turning<'m>(
    instants: &impl Instants<'m>,
    moment: &Moment,
    state: &State,
    signs: &mut Vec<&'static str>,
) {
    let machine = instants.machine();
    for (motor, effect) in &moment.doing {
        let Some(rpm) = effect.turns_rpm.filter(|rpm| *rpm != 0.0) else { continue };
        let speed_rpm = rpm * instants.passage(*motor, Medium::Motion).factor;
        for &id in &machine.parts[*motor].through {
            let part = &machine.parts[id];
            // Of sound parts only the drum's turning is seen, which is told from its speed.
            let Some(mode) = instants.mode(id) else { continue };
            let mode = Some(part.kind.modes[mode].name);
            let situation = Situation { speed_rpm, ..at_rest(&machine.plate, state) };
            signs.extend(part.kind.behaviour.effect(&part.params, mode, &situation, &Flows::default()).signs);
        }
    }
}

/// Net water in, l/min, and heat, W.
fn flows<'m>(instants: &impl Instants<'m>, state: &State, moment: &Moment) -> (f64, f64) {
    let (mut litres, mut watts) = (0.0, 0.0);
    for (id, effect) in &moment.doing {
        watts += effect.heat_w * carried(instants, moment, *id);
        if effect.water_in_l_min != 0.0 || effect.water_out_l_min != 0.0 {
            let passage = instants.passage(*id, Medium::Water).factor;
            litres += (effect.water_in_l_min - effect.water_out_l_min) * passage;
        }
    }
    (litres * state.flows, watts)
}

/// Share of a heater's heat that the air of its fan carries to where it is wanted; all, where it sits in no air stream.
fn carried<'m>(instants: &impl Instants<'m>, moment: &Moment, heater: PartId) -> f64 {
    let machine = instants.machine();
    let stands = |&part: &PartId| {
        machine.parts[part].kind.behaviour.moves() == Some(Medium::Air)
            && !moment.effect(part).is_some_and(|e| e.runs)
    };
    if machine.parts[heater].through.iter().any(stands) {
        0.0
    } else {
        instants.passage(heater, Medium::Air).factor
    }
}

/// How long the step lasts, and whether it ran out of time.
fn duration<'m>(
    instants: &mut impl Instants<'m>,
    step: &Step,
    state: &State,
    driven: &Driven,
) -> (f64, bool) {
    let longest = step.at_most_s.unwrap_or(step.lasts_s);
    let Some(until) = &step.until else { return (step.lasts_s, false) };
    if driven.drives.is_empty() {
        return (longest, true);
    }
    let (net_l_min, heat_w) = flows(instants, state, &driven.moment);
    let capacity = state.level_l * WATER_J_KG_K + instants.machine().plate.heat_capacity_j_k.max(1.0);
    let at = |seconds: f64| State {
        level_l: (state.level_l + net_l_min * seconds / 60.0).max(0.0),
        temperature_c: state.temperature_c + heat_w * seconds / capacity,
        ..state.clone()
    };
    if !holds_at(instants, until, &driven.moment, &at(longest)) {
        return (longest, true);
    }
    let (mut early, mut late) = (0.0, longest);
    if holds_at(instants, until, &driven.moment, &at(0.0)) {
        return (0.0, false);
    }
    // Level and temperature run one way within a step, so that the moment can be closed in on.
    for _ in 0..20 {
        let middle = f64::midpoint(early, late);
        if holds_at(instants, until, &driven.moment, &at(middle)) {
            late = middle;
        } else {
            early = middle;
        }
    }
    (late, false)
}

/// Would a condition hold at another level and temperature, all else as in this moment?
fn holds_at<'m>(instants: &mut impl Instants<'m>, until: &Condition, moment: &Moment, state: &State) -> bool {
    let by_ohms =
        matches!(instants.machine().inputs[until.input].senses, Senses::Ohms(..) | Senses::Contact(..));
    let wanted = if let Test::FollowsWithin(_) = until.test { moment.drum_rpm } else { 0.0 };
    holds(instants, until, moment, state, wanted, by_ohms)
}

/// The board that shows codes: the one with the most outputs; of equals, the first by name.
fn main_board(machine: &Machine) -> Option<PartId> {
    let outputs = |board: PartId| machine.outputs.iter().filter(|o| o.board == board).count();
    let name = |board: PartId| std::cmp::Reverse(machine.parts[board].id.as_str());
    machine.outputs.iter().map(|o| o.board).max_by_key(|&board| (outputs(board), name(board)))
}

/// Carries out what a guard does beyond refusing its own output; true if all is off now but what holds the door.
fn carry_out<'m>(
    instants: &impl Instants<'m>,
    what: Otherwise,
    drives: &mut Vec<Drive>,
    refused: &mut Vec<OutputId>,
    state: &mut State,
) -> bool {
    if what == Otherwise::KeepsOff {
        return false;
    }
    state.over |= what == Otherwise::EndsTest;
    let off = drives.extract_if(.., |d| !instants.holds_door(d.output));
    refused.extend(off.map(|d| d.output));
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
