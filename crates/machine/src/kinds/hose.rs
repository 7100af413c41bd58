//! Hose: carries water, or the air pressure of the level sensing.

use super::{Behaviour, COMMON, Effect, Flows, HandCheck, Medium, Mend, Mode, Param, Params, PartKind, Passage, Power, Rate, Situation, Takes};

/// Share of the flow that a blocked drain hose lets through: drain time × 2–10 (common practice, no source).
const BLOCKED_FLOW: f64 = 0.2;

/// Share of the flow that reaches the far end of a leaking hose.
const LEAKING_FLOW: f64 = 0.9;

/// Share of the level that a leaking pressure hose still shows: the trapped air escapes within minutes.
const LEAKING_PRESSURE: f64 = 0.5;

pub(super) static KIND: PartKind = PartKind {
    name: "hose",
    about: "A hose for water, or for the pressure of the level sensing.",
    terminals: &[],
    params: &[Param {
        name: "carries",
        takes: Takes::Choice(&["water", "pressure"]),
        default: Some("water"),
        must: false,
        about: "water, or the air pressure of the level sensing",
    }],
    rate: Rate { percent: 1.7, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode { name: "blocked", says: "is blocked or kinked", share: 0.6, source: COMMON, mend: Mend::Clean },
        Mode { name: "leaking", says: "leaks", share: 0.25, source: COMMON, mend: Mend::Fit },
        Mode { name: "off", says: "is off its spigot", share: 0.15, source: COMMON, mend: Mend::Remake },
    ],
    behaviour: &Tube,
    checks: &[
        HandCheck {
            id: "blow",
            ask: "Taken off, is it hard to blow or run water through?",
            minutes: 4.0,
            caution: "Unplug, close the tap, drain first; water above 50 °C scalds. Never blow into the \
                level sensor.",
            yes_in: &["blocked"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
        HandCheck {
            id: "look",
            ask: "Is it wet, cracked or loose at an end?",
            minutes: 2.0,
            caution: "Unplug; mop first.",
            yes_in: &["leaking", "off"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[],
};

struct Tube;

impl Behaviour for Tube {
    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        let factor = match (medium, mode) {
            (Medium::Water, Some("blocked")) => BLOCKED_FLOW,
            (Medium::Water, Some("leaking")) => LEAKING_FLOW,
            (Medium::Pressure, Some("leaking")) => LEAKING_PRESSURE,
            (Medium::Water, Some("off")) | (Medium::Pressure, Some("blocked" | "off")) => 0.0,
            _ => 1.0,
        };
        Passage { factor, load: 1.0 }
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, _: &Flows) -> Effect {
        let wet = params.text("carries") != "pressure" && situation.level_l > 0.0;
        let signs = match mode {
            Some("leaking" | "off") if wet => vec!["leaks"],
            _ => vec![],
        };
        Effect { signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blocked_pressure_hose_shows_no_level_and_a_blocked_drain_hose_some_flow() {
        let factor = |medium| KIND.behaviour.passage(&Params::default(), Some("blocked"), medium).factor;
        assert!(factor(Medium::Pressure).abs() < f64::EPSILON);
        assert!(factor(Medium::Water) > 0.0 && factor(Medium::Water) <= 0.5);
    }
}
