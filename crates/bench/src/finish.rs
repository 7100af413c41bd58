//! What comes of a step: readings, signs, how long it lasts, and the state that it leaves.

use crate::conditions::Conditions;
use crate::drive::Driven;
use crate::moment::{Moment, at_rest};
use crate::prediction::{Estimate, Prediction};
use crate::sense::holds;
use crate::step::{Instants, State};
use machine::kind::{Flows, Medium, Panel, Situation};
use machine::model::{Condition, Machine, OutputId, PartId, Senses, Step, Test};

/// Specific heat of water, J/(kg K), within 0.3 % from 10 to 70 °C (IAPWS R6-95).
const WATER_J_KG_K: f64 = 4184.0;

/// Relative standard uncertainty of a rise of temperature: what the metal takes up, dead time of the rod (estimate).
const RISE_U: f64 = 0.2;

/// Relative standard uncertainty of a drum's speed under the board's control (common practice, no source).
const SPEED_U: f64 = 0.02;

/// Smallest speed at which a person sees a drum turn, rpm.
const TURNS_FROM_RPM: f64 = 5.0;

/// What is read, seen and heard of a step in which this was driven, one way and perhaps the other; the state is moved on to its end.
pub(crate) fn finish<'m>(
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
pub(crate) fn nothing(step: &Step, state: &State, conditions: &Conditions) -> Prediction {
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
