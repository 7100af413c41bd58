//! What the board senses in an instant, and whether its conditions hold.

use crate::moment::{Moment, Solver, chain};
use crate::step::State;
use circuit::Resistance;
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

impl Solver<'_> {
    /// Does a condition hold? The wiring must be the moment's.
    pub(crate) fn holds(
        &mut self,
        condition: &Condition,
        modes: &[Option<usize>],
        moment: &Moment,
        state: &State,
        wanted_rpm: f64,
    ) -> bool {
        let held = self.held(condition.input, modes, moment, state);
        let plausible = self.machine.inputs[condition.input].plausible;
        match (condition.test, held) {
            (Test::True, Held::Yes(yes)) => yes,
            (Test::False, Held::Yes(yes)) => !yes,
            (Test::True, Held::Value(v)) => v != 0.0,
            (Test::False, Held::Value(v)) => v == 0.0,
            (Test::Plausible, Held::Value(v)) => {
                plausible.is_none_or(|(low, high)| (low..=high).contains(&v))
            }
            (Test::AtLeast(limit), Held::Value(v)) => v >= limit,
            (Test::AtMost(limit), Held::Value(v)) => v <= limit,
            (Test::FollowsWithin(_), Held::Value(v)) => v.abs() >= FOLLOWS_FROM * wanted_rpm.abs(),
            _ => false,
        }
    }

    fn held(&mut self, input: InputId, modes: &[Option<usize>], moment: &Moment, state: &State) -> Held {
        self.heard.asked[input] = true;
        let misreads = moment.effects.get(self.machine.inputs[input].board).is_some_and(|e| e.misreads);
        match &self.machine.inputs[input].senses {
            Senses::Volts { above, .. } => {
                Held::Yes(moment.input_volts.get(input).is_some_and(|v| v >= above))
            }
            Senses::Ohms(..) if misreads => Held::Nothing,
            Senses::Ohms(a, b) => match self.wiring.resistance(*a, *b) {
                Resistance::Ohms(r) => Held::Value(r),
                Resistance::Open => Held::Value(f64::INFINITY),
            },
            Senses::Contact(a, b) => Held::Yes(
                matches!(self.wiring.resistance(*a, *b), Resistance::Ohms(r) if r < CONTACT_CLOSED_BELOW_OHM),
            ),
            Senses::Part { part, pins } => {
                let pins = pins.clone();
                if pins.iter().all(|&pin| self.reaches(pin, *part)) {
                    self.reported(*part, modes, moment, state)
                } else {
                    Held::Nothing
                }
            }
        }
    }

    /// Is there a wire from a pin to some terminal of the part?
    fn reaches(&mut self, pin: usize, part: PartId) -> bool {
        let terminals: Vec<usize> = self.machine.parts[part].terminals.iter().flatten().copied().collect();
        terminals
            .into_iter()
            .any(|t| matches!(self.wiring.resistance(pin, t), Resistance::Ohms(r) if r < 100.0))
    }

    fn reported(&self, id: PartId, modes: &[Option<usize>], moment: &Moment, state: &State) -> Held {
        let part = &self.machine.parts[id];
        let mut situation = moment.situations[id];
        situation.level_l = state.level_l * chain(self.machine, modes, id, Medium::Pressure).factor;
        situation.speed_rpm = match part.watches {
            // A sensor on a motor sees the shaft, before the belt; one on the drum sees the drum.
            Some(watched) if !self.machine.parts[watched].terminals.is_empty() => {
                moment.effects.get(watched).and_then(|e| e.turns_rpm).unwrap_or(0.0)
            }
            _ => moment.drum_rpm,
        };
        let mode = modes[id].map(|m| part.kind.modes[m].name);
        match part.kind.behaviour.sense(&part.params, mode, &situation) {
            Sensed::Value(v) => Held::Value(v),
            Sensed::Nothing => Held::Nothing,
        }
    }
}
