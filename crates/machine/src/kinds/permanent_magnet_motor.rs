//! Permanent-magnet motor: as the three-phase motor on an inverter, with magnets in the rotor.

use super::three_phase_motor::{LOCKED_TAKES_INVERTER, OnInverter, PARAMS, TERMINALS, TURN_BY_HAND};
use super::{COMMON, HandCheck, Mend, Mode, PartKind, Power, Rate};

pub(super) static KIND: PartKind = PartKind {
    name: "permanent-magnet motor",
    about: "A motor of three like windings and a magnet rotor on an inverter, on a belt or straight on the \
        drum.",
    terminals: TERMINALS,
    params: PARAMS,
    rate: Rate { percent: 1.5, source: "guess to fill the rest, common practice, no source" },
    modes: &[
        Mode { name: "phase open", says: "has an open phase", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "turns shorted",
            says: "has shorted turns",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "leak to earth", says: "leaks to earth", share: 0.2, source: COMMON, mend: Mend::Fit },
        Mode { name: "locked", says: "is stiff or locked", share: 0.1, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "magnets loose",
            says: "has loose magnets",
            share: 0.15,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &OnInverter,
    checks: &[
        TURN_BY_HAND,
        HandCheck {
            id: "rattle",
            ask: "Does the rotor rattle or scrape when turned by hand, or is a magnet out of place?",
            minutes: 8.0,
            caution: "Unplug. Turning it makes voltage at the leads: do not touch them. Magnets pinch \
                fingers.",
            yes_in: &["magnets loose"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[LOCKED_TAKES_INVERTER],
};
