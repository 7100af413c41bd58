//! One machine out of many: each parameter somewhere within its tolerance.

use crate::dice::{Dice, Purpose};
use machine::kind::Situation;
use machine::model::Machine;
use machine::params::Value;
use quantity::Toleranced;

/// A tub's heat capacity is an estimate in any file: so much either way, in proportion. Common practice, no source.
const HEAT_CAPACITY_SPREAD: f64 = 0.15;

/// A machine whose parameters lie somewhere within their tolerances: what stands in a kitchen, as opposed to what the
/// file says.
///
/// Half of the parameters are drawn rectangular between their limits, half normal about the middle with limits at two
/// standard deviations, cut off there. A value without tolerance varies as far as its kind takes it to. What is drawn is
/// exact afterwards: a specimen has no tolerance.
pub fn specimen(machine: &Machine, seed: u64) -> Machine {
    drawn_by(machine, seed, draw)
}

/// A machine whose every parameter lies at one of its limits, or near it: the worst that its tolerances allow.
pub fn specimen_at_limits(machine: &Machine, seed: u64) -> Machine {
    drawn_by(machine, seed, |q, dice| {
        let side = if dice.chance(0.5) { 1.0 } else { -1.0 };
        let place = side * dice.between(0.8, 1.0);
        let half = f64::midpoint(q.minus, q.plus);
        if half > 0.0 { Toleranced::exact(q.expectation() + place * half) } else { q }
    })
}

fn drawn_by(machine: &Machine, seed: u64, draw: impl Fn(Toleranced, &mut Dice) -> Toleranced) -> Machine {
    let mut dice = Dice::new(seed, Purpose::Specimen);
    let mut drawn = machine.clone();
    for (id, part) in machine.parts.iter().enumerate() {
        for param in part.kind.params {
            let spread = part.kind.behaviour.spread(&part.params, param.name);
            let value = match part.params.get(param.name) {
                Some(Value::Quantity(q)) => Value::Quantity(draw(drawn_within(q, spread), &mut dice)),
                Some(&Value::RatedAt(q, at)) => Value::RatedAt(draw(drawn_within(&q, spread), &mut dice), at),
                Some(Value::Table(rows)) => {
                    // A part that draws more in one row does so in all.
                    let factor = draw(drawn_within(&Toleranced::exact(1.0), spread), &mut dice).nominal;
                    Value::Table(rows.iter().map(|&(x, y)| (x, y * factor)).collect())
                }
                _ => continue,
            };
            drawn.parts[id].params.set(param.name, value);
        }
    }
    drawn.plate.heat_capacity_j_k *= dice.between(1.0 - HEAT_CAPACITY_SPREAD, 1.0 + HEAT_CAPACITY_SPREAD);
    drawn
}

/// The limits within which [`specimen`] draws a parameter: the file's, or where the file is silent those that its kind
/// gives it ([`machine::kind::Behaviour::spread`]).
pub fn drawn_within(stated: &Toleranced, spread: f64) -> Toleranced {
    if stated.minus + stated.plus > 0.0 || spread <= 0.0 {
        return *stated;
    }
    Toleranced::symmetric_relative(stated.nominal, spread)
}

/// Nothing driven, nothing moves.
pub(crate) fn at_rest(machine: &Machine) -> Situation {
    Situation {
        rated_v: machine.plate.supply_v,
        hz: machine.plate.supply_hz,
        driven: false,
        wanted_rpm: 0.0,
        moving: true,
        locked: true,
        level_l: 0.0,
        temperature_c: 20.0,
        speed_rpm: 0.0,
        demand_w: 0.0,
        demand_u_w: 0.0,
        drag: 1.0,
    }
}

fn draw(q: Toleranced, dice: &mut Dice) -> Toleranced {
    let half = f64::midpoint(q.minus, q.plus);
    // Drawn also where there is no tolerance, so that a tolerance given to one part leaves the others' draws alone.
    let place = if dice.chance(0.5) {
        dice.between(-1.0, 1.0)
    } else {
        // Cut off at the limits: 1 in 22 is outside; a few tries always do, and the middle is within.
        (0..20).map(|_| dice.normal() / 2.0).find(|x| x.abs() <= 1.0).unwrap_or(0.0)
    };
    if half > 0.0 { Toleranced::exact(q.expectation() + place * half) } else { q }
}
