//! Belt: carries the motor's motion to the drum.

use super::{Behaviour, COMMON, Consequence, Effect, Flows, HandCheck, Medium, Mend, Mode, Params, PartKind, Passage, Power, Rate, Situation};

/// Share of the tumbling watts that the motor takes without a drum: 10–60 % (common practice, no source).
const FREE_LOAD: f64 = 0.35;

/// Share of its speed that the drum keeps under a slipping belt. Common practice, no source.
const SLIPPING: f64 = 0.8;

/// Speed above which something is said to turn, drum rpm.
const TURNING_RPM: f64 = 1.0;

pub(super) static KIND: PartKind = PartKind {
    name: "belt",
    about: "The belt between motor and drum.",
    terminals: &[],
    params: &[],
    rate: Rate { percent: 2.5, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode { name: "off", says: "is off its pulley", share: 0.4, source: COMMON, mend: Mend::Remake },
        Mode { name: "broken", says: "is broken", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode { name: "slipping", says: "slips", share: 0.25, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Drive,
    checks: &[
        HandCheck {
            id: "turn drum",
            ask: "Does the drum turn very easily by hand, without the motor's drag?",
            minutes: 1.0,
            caution: "Unplug.",
            yes_in: &["off", "broken"],
            at_part: false,
            power: Power::Dead,
            slip: 0.1,
        },
        HandCheck {
            id: "look",
            ask: "Is the belt off its pulley or broken?",
            minutes: 1.0,
            caution: "Unplug. Never look behind the back panel while the drum turns.",
            yes_in: &["off", "broken"],
            at_part: true,
            power: Power::Dead,
            slip: 0.01,
        },
        HandCheck {
            id: "tension",
            ask: "Is the belt slack, shiny or frayed, with black dust about?",
            minutes: 2.0,
            caution: "Unplug.",
            yes_in: &["slipping"],
            at_part: true,
            power: Power::Dead,
            slip: 0.15,
        },
    ],
    consequences: &[Consequence {
        mode: "slipping",
        kind: "drum",
        brings: "bearing noisy",
        probability: 0.1,
        source: COMMON,
    }],
};

struct Drive;

impl Behaviour for Drive {
    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        match (medium, mode) {
            (Medium::Motion, Some("off" | "broken")) => Passage { factor: 0.0, load: FREE_LOAD },
            (Medium::Motion, Some("slipping")) => Passage { factor: SLIPPING, load: 1.0 },
            _ => Passage::CLEAR,
        }
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, _: &Flows) -> Effect {
        let squeals = mode == Some("slipping") && situation.speed_rpm.abs() > TURNING_RPM;
        Effect { signs: if squeals { vec!["squeals"] } else { vec![] }, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_belt_nothing_turns_and_the_motor_runs_light() {
        for mode in ["off", "broken"] {
            let passed = KIND.behaviour.passage(&Params::default(), Some(mode), Medium::Motion);
            assert!(passed.factor.abs() < f64::EPSILON);
            // 10–60 % of the healthy watts: common practice, no source.
            assert!((0.1..0.6).contains(&passed.load));
        }
    }

    #[test]
    fn it_squeals_only_when_it_slips_and_something_turns() {
        let signs = |mode, speed_rpm| {
            let s = Situation { speed_rpm, ..Situation::at_rest() };
            KIND.behaviour.effect(&Params::default(), mode, &s, &Flows::default()).signs
        };
        assert_eq!(signs(Some("slipping"), -52.0), ["squeals"]);
        assert!(signs(Some("slipping"), 0.0).is_empty());
        assert!(signs(None, 52.0).is_empty());
    }
}
