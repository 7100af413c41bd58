//! Filter: the pump's filter, a strainer in the water's way, or the fluff filter of a dryer.

use super::{Behaviour, COMMON, Consequence, Effect, Flows, HandCheck, Medium, Mend, Mode, Params, PartKind, Passage, Power, Rate, Situation};

/// Share of the water that a blocked filter lets through: drain time × 2–10 (common practice, no source).
const BLOCKED_WATER: f64 = 0.2;

/// Share of the air that a fluff filter lets through when it is clogged. Common practice, no source.
const BLOCKED_AIR: f64 = 0.4;

pub(super) static KIND: PartKind = PartKind {
    name: "filter",
    about: "A filter or strainer for water, or for the air of a dryer.",
    terminals: &[],
    params: &[],
    rate: Rate { percent: 3.9, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode { name: "blocked", says: "is blocked", share: 0.9, source: COMMON, mend: Mend::Clean },
        Mode { name: "leaking", says: "leaks at its seal", share: 0.1, source: COMMON, mend: Mend::Remake },
    ],
    behaviour: &Strainer,
    checks: &[
        HandCheck {
            id: "look",
            ask: "Is it blocked with fluff, coins or rags?",
            minutes: 2.0,
            caution: "Unplug. Drain through the pump, not through the filter; water above 50 °C scalds. \
                Open it slowly over a tray.",
            yes_in: &["blocked"],
            at_part: true,
            power: Power::Dead,
            slip: 0.02,
        },
        HandCheck {
            id: "seal",
            ask: "Is it wet below its cap, or the seal torn or dirty?",
            minutes: 2.0,
            caution: "Unplug; mop first.",
            yes_in: &["leaking"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
    ],
    consequences: &[Consequence {
        mode: "blocked",
        kind: "drain pump",
        brings: "jammed",
        probability: 0.1,
        source: COMMON,
    }],
};

struct Strainer;

impl Behaviour for Strainer {
    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        let factor = match (medium, mode) {
            (Medium::Water, Some("blocked")) => BLOCKED_WATER,
            (Medium::Air, Some("blocked")) => BLOCKED_AIR,
            _ => 1.0,
        };
        Passage { factor, load: 1.0 }
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, _: &Flows) -> Effect {
        let leaks = mode == Some("leaking") && situation.level_l > 0.0;
        Effect { signs: if leaks { vec!["leaks"] } else { vec![] }, ..Effect::default() }
    }
}
