//! Functions in ordinary use: does one fail under a hypothesis, so that a customer would complain of it?

use bench::Prediction;
use machine::model::{Function, GoesOn, Machine, Step};

/// How a function goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Goes {
    /// As it should.
    Well,
    /// Done in the end, but slowly, loudly or otherwise so that it may be noticed.
    Oddly,
    /// Not at all.
    Not,
}

/// Seconds that a function without an end of its own is looked at.
const LOOKED_AT_S: f64 = 60.0;

/// Speed, rise or litres below this share of healthy: it fails.
const FAILS_BELOW: f64 = 0.7;

/// Time or watts that differ by more than this share are noticed.
const NOTICED_FROM: f64 = 0.15;

/// Each function as a step, with the water that it begins with.
pub(crate) fn as_steps(machine: &Machine) -> Vec<(Step, f64)> {
    machine.functions.iter().map(|f| (as_step(f), f.water_l)).collect()
}

fn as_step(function: &Function) -> Step {
    let within_s = function.until.as_ref().map(|u| u.1);
    Step {
        id: function.name.clone(),
        says: function.name.clone(),
        drives: function.drives.clone(),
        see: String::new(),
        hear: String::new(),
        shows_code: true,
        goes_on: GoesOn::ByItself,
        until: function.until.as_ref().map(|u| u.0.clone()),
        at_most_s: within_s,
        lasts_s: within_s.unwrap_or(LOOKED_AT_S),
        ramp_s: 0.0,
        caution: String::new(),
        then: None,
        at: function.at.clone(),
    }
}

/// How it goes, against how it goes in the healthy machine.
pub(crate) fn goes(now: &Prediction, healthy: &Prediction) -> Goes {
    let less =
        |now: f64, healthy: f64, floor: f64| healthy.abs() > floor && now.abs() < FAILS_BELOW * healthy.abs();
    let fails = now.trip.is_some()
        || (now.ended && !healthy.ended)
        || now.refused.iter().any(|o| !healthy.refused.contains(o))
        || now.timed_out && !healthy.timed_out
        || now.one_way && !healthy.one_way
        || less(now.speed_rpm.value, healthy.speed_rpm.value, 5.0)
        || less(now.rise_k.value, healthy.rise_k.value, 0.2)
        || healthy.signs.contains(&"drum turns") && !now.signs.contains(&"drum turns");
    if fails {
        return Goes::Not;
    }
    let differs = |now: f64, healthy: f64, floor: f64| {
        (now - healthy).abs() > (NOTICED_FROM * healthy.abs()).max(floor)
    };
    let odd = now.signs != healthy.signs
        || differs(now.lasts_s, healthy.lasts_s, 3.0)
        || differs(now.power_w.value, healthy.power_w.value, 8.0)
        || differs(now.water_l, healthy.water_l, 0.5);
    if odd { Goes::Oddly } else { Goes::Well }
}

#[cfg(test)]
#[path = "functions_test.rs"]
mod shipped;
