//! Suspension: dampers and springs that hold the tub.

use super::{COMMON, HandCheck, Inert, Mend, Mode, PartKind, Power, Rate};

pub(super) static KIND: PartKind = PartKind {
    name: "suspension",
    about: "Dampers and springs of the tub.",
    terminals: &[],
    params: &[],
    rate: Rate {
        percent: 5.8,
        source: "from memory: Tecchio et al. 2019, bearings and shock absorbers 13.8 %; dampers and springs \
            at 42 % of it is common practice, no source",
    },
    modes: &[
        Mode { name: "damper weak", says: "has a weak damper", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "spring off",
            says: "has a spring off or broken",
            share: 0.07,
            source: COMMON,
            mend: Mend::Remake,
        },
    ],
    behaviour: &Inert,
    checks: &[
        HandCheck {
            id: "press tub",
            ask: "Pressed down and let go, does the tub swing more than twice?",
            minutes: 1.0,
            caution: "Unplug. Keep fingers out from between tub and cabinet.",
            yes_in: &["damper weak"],
            at_part: true,
            power: Power::Dead,
            slip: 0.15,
        },
        HandCheck {
            id: "look",
            ask: "Does the tub hang askew, or is a spring off?",
            minutes: 2.0,
            caution: "Unplug. A spring under tension can fly: hold it with pliers, wear glasses.",
            yes_in: &["spring off"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
    ],
    consequences: &[],
};
