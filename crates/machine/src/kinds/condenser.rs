//! Condenser: where the moist air of a dryer gives up its water.

use super::{Behaviour, COMMON, HandCheck, Medium, Mend, Mode, Params, PartKind, Passage, Power, Rate};

/// Share of the air that a clogged condenser lets through. Common practice, no source.
const BLOCKED: f64 = 0.4;

pub(super) static KIND: PartKind = PartKind {
    name: "condenser",
    about: "The heat exchanger of a condenser dryer.",
    terminals: &[],
    params: &[],
    rate: Rate { percent: 4.0, source: COMMON },
    modes: &[
        Mode {
            name: "blocked",
            says: "is clogged with fluff",
            share: 0.9,
            source: COMMON,
            mend: Mend::Clean,
        },
        Mode {
            name: "leaking",
            says: "lets moist air past its seal",
            share: 0.1,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Exchanger,
    checks: &[
        HandCheck {
            id: "look",
            ask: "Is it clogged with fluff when held against the light?",
            minutes: 3.0,
            caution: "Unplug, let it cool. The fins cut.",
            yes_in: &["blocked"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
        HandCheck {
            id: "seal",
            ask: "Is its seal torn, or the room damp after a run?",
            minutes: 2.0,
            caution: "Unplug, let it cool. The fins cut.",
            yes_in: &["leaking"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[],
};

struct Exchanger;

impl Behaviour for Exchanger {
    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        let clogged = medium == Medium::Air && mode == Some("blocked");
        Passage { factor: if clogged { BLOCKED } else { 1.0 }, load: 1.0 }
    }
}
