//! What the board senses in an instant, and whether its conditions hold.

use crate::moment::Moment;
use crate::step::{Instants, State};
use machine::kind::{Medium, Sensed};
use machine::model::{Condition, InputId, PartId, Senses, Test};

/// A contact that the board watches counts as closed below this, Ω.
const CONTACT_CLOSED_BELOW_OHM: f64 = 1_000.0;

/// Share of the wanted speed from which a drum follows.
const FOLLOWS_FROM: f64 = 0.5;

/// What one input holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Held {
    Nothing,
    Value(f64),
    Yes(bool),
}

/// Does a condition hold, the machine being as in this moment, the last that was asked for? With `dead`, ohms are
/// those of the dead machine in this state.
pub(crate) fn holds<'m>(
    instants: &mut impl Instants<'m>,
    condition: &Condition,
    moment: &Moment,
    state: &State,
    wanted_rpm: f64,
    dead: bool,
) -> bool {
    let input = &instants.machine().inputs[condition.input];
    match (condition.test, held(instants, condition.input, moment, state, dead)) {
        (Test::True, Held::Yes(yes)) => yes,
        (Test::False, Held::Yes(yes)) => !yes,
        (Test::True, Held::Value(v)) => v != 0.0,
        (Test::False, Held::Value(v)) => v == 0.0,
        (Test::Plausible, Held::Value(v)) => {
            input.plausible.is_none_or(|(low, high)| (low..=high).contains(&v))
        }
        (Test::AtLeast(limit), Held::Value(v)) => v >= limit,
        (Test::AtMost(limit), Held::Value(v)) => v <= limit,
        (Test::FollowsWithin(_), Held::Value(v)) => v.abs() >= FOLLOWS_FROM * wanted_rpm.abs(),
        _ => false,
    }
}

fn held<'m>(
    instants: &mut impl Instants<'m>,
    input: InputId,
    moment: &Moment,
    state: &State,
    dead: bool,
) -> Held {
    let ohms = instants.input_ohms(input, state, dead);
    match &instants.machine().inputs[input].senses {
        Senses::Volts { above, .. } => Held::Yes(moment.input_volts.get(input).is_some_and(|v| v >= above)),
        Senses::Ohms(..) if moment.misreads(instants.machine().inputs[input].board) => Held::Nothing,
        Senses::Ohms(..) => Held::Value(ohms),
        Senses::Contact(..) => Held::Yes(ohms < CONTACT_CLOSED_BELOW_OHM),
        Senses::Part { part, .. } if ohms == 0.0 => reported(instants, input, *part, moment, state),
        Senses::Part { .. } => Held::Nothing,
    }
}

/// What a part reports whose pins all reach the board.
fn reported<'m>(
    instants: &mut impl Instants<'m>,
    input: InputId,
    id: PartId,
    moment: &Moment,
    state: &State,
) -> Held {
    let part = &instants.machine().parts[id];
    let Some(&(_, mut situation)) = moment.sensors.iter().find(|s| s.0 == input) else {
        return Held::Nothing;
    };
    situation.level_l = state.level_l * instants.passage(id, Medium::Pressure).factor;
    situation.temperature_c = state.temperature_c;
    situation.speed_rpm = match part.watches {
        // A sensor on a motor sees the shaft, before the belt; one on the drum sees the drum.
        Some(watched) if !instants.machine().parts[watched].terminals.is_empty() => {
            moment.effect(watched).and_then(|e| e.turns_rpm).unwrap_or(0.0)
        }
        _ => moment.drum_rpm,
    };
    let mode = instants.mode(id).map(|m| part.kind.modes[m].name);
    match part.kind.behaviour.sense(&part.params, mode, &situation) {
        Sensed::Value(v) => Held::Value(v),
        Sensed::Nothing => Held::Nothing,
    }
}
