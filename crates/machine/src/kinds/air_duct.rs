//! Air duct: the way of the air in a dryer, an oven or a cooling system.

use super::{Behaviour, COMMON, HandCheck, Medium, Mend, Mode, Params, PartKind, Passage, Power, Rate};

/// Share of the air that a clogged duct lets through, and a leaking one. Common practice, no source.
const BLOCKED: f64 = 0.3;
const LEAKING: f64 = 0.7;

pub(super) static KIND: PartKind = PartKind {
    name: "air duct",
    about: "A duct or vent for air.",
    terminals: &[],
    params: &[],
    rate: Rate { percent: 3.0, source: COMMON },
    modes: &[
        Mode { name: "blocked", says: "is clogged", share: 0.8, source: COMMON, mend: Mend::Clean },
        Mode {
            name: "leaking",
            says: "leaks at a joint or seal",
            share: 0.2,
            source: COMMON,
            mend: Mend::Remake,
        },
    ],
    behaviour: &Duct,
    checks: &[
        HandCheck {
            id: "look",
            ask: "Is it clogged with fluff or kinked?",
            minutes: 5.0,
            caution: "Unplug, let it cool. Wear a mask; lint burns.",
            yes_in: &["blocked"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
        HandCheck {
            id: "seal",
            ask: "Is there fluff or damp outside a joint or seal?",
            minutes: 3.0,
            caution: "Unplug.",
            yes_in: &["leaking"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[],
};

struct Duct;

impl Behaviour for Duct {
    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        let factor = match (medium, mode) {
            (Medium::Air, Some("blocked")) => BLOCKED,
            (Medium::Air, Some("leaking")) => LEAKING,
            _ => 1.0,
        };
        Passage { factor, load: 1.0 }
    }
}
