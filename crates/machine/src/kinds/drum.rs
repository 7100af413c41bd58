//! Drum: with its spider, bearing and seal, and the tub it turns in.

use super::{Behaviour, COMMON, Consequence, Dimension, Effect, Flows, HandCheck, Medium, Mend, Mode, Param, Params, PartKind, Passage, Power, Rate, Situation, Takes};

/// Factor on the driving watts with a worn bearing: +10–60 % (common practice, no source).
const WORN_DRAG: f64 = 1.35;

/// Factor on the driving watts of what cannot turn: above 1 with nothing coming out says "stalled", where a belt
/// that is off says "running free".
const SEIZED_DRAG: f64 = 3.0;

/// Speed from which the drum is seen to turn, and that from which a worn bearing is heard, drum rpm.
const TURNING_RPM: f64 = 1.0;
const ROARING_RPM: f64 = 300.0;

pub(super) static KIND: PartKind = PartKind {
    name: "drum",
    about: "Drum, spider, bearing and tub.",
    terminals: &[],
    params: &[
        Param {
            name: "radius",
            takes: Takes::Quantity(Dimension::Length),
            default: None,
            must: false,
            about: "inner radius",
        },
        Param {
            name: "load",
            takes: Takes::Quantity(Dimension::Mass),
            default: None,
            must: false,
            about: "rated load of dry washing",
        },
        Param {
            name: "inertia",
            takes: Takes::Quantity(Dimension::Inertia),
            default: None,
            must: false,
            about: "moment of inertia of the empty drum",
        },
    ],
    rate: Rate {
        percent: 12.0,
        source: "from memory: Tecchio et al. 2019, bearings and shock absorbers 13.8 %; bearings at 58 % of \
            it and drum and tub at 4 % are common practice, no source",
    },
    modes: &[
        Mode {
            name: "bearing noisy",
            says: "has a worn bearing",
            share: 0.63,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "bearing seized",
            says: "has a seized bearing",
            share: 0.035,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "spider broken",
            says: "has a broken spider",
            share: 0.117,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "tub leak",
            says: "has a leaking tub or seal",
            share: 0.133,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "paddle", says: "has a loose paddle", share: 0.083, source: COMMON, mend: Mend::Remake },
    ],
    behaviour: &Turning,
    checks: &[
        HandCheck {
            id: "listen",
            ask: "With the belt off, does the drum roar or grind when spun by hand?",
            minutes: 4.0,
            caution: "Unplug. Drum holes and edges cut.",
            yes_in: &["bearing noisy"],
            at_part: true,
            power: Power::Dead,
            slip: 0.08,
        },
        HandCheck {
            id: "turn",
            ask: "With the belt off, is the drum stiff to turn?",
            minutes: 3.0,
            caution: "Unplug.",
            yes_in: &["bearing seized"],
            at_part: true,
            power: Power::Dead,
            slip: 0.03,
        },
        HandCheck {
            id: "play",
            ask: "Does the drum's lip rock by more than a millimetre against the tub?",
            minutes: 1.0,
            caution: "Unplug. Keep fingers out of the gap.",
            yes_in: &["bearing noisy", "spider broken"],
            at_part: false,
            power: Power::Dead,
            slip: 0.15,
        },
        HandCheck {
            id: "streak",
            ask: "Is there a grey or rusty streak at the back of the tub, or water under it?",
            minutes: 3.0,
            caution: "Unplug before reaching in; mop first.",
            yes_in: &["bearing noisy", "tub leak"],
            at_part: true,
            power: Power::Dead,
            slip: 0.2,
        },
        HandCheck {
            id: "paddles",
            ask: "Is a paddle loose or gone?",
            minutes: 1.0,
            caution: "Unplug.",
            yes_in: &["paddle"],
            at_part: false,
            power: Power::Dead,
            slip: 0.02,
        },
    ],
    consequences: &[
        Consequence {
            mode: "bearing noisy",
            kind: "brushed motor",
            brings: "leak to earth",
            probability: 0.05,
            source: COMMON,
        },
        Consequence {
            mode: "tub leak",
            kind: "control board",
            brings: "supply dead",
            probability: 0.05,
            source: COMMON,
        },
    ],
};

struct Turning;

impl Behaviour for Turning {
    fn passage(&self, _: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        match (medium, mode) {
            (Medium::Motion, Some("bearing noisy")) => Passage { factor: 1.0, load: WORN_DRAG },
            (Medium::Motion, Some("bearing seized")) => Passage { factor: 0.0, load: SEIZED_DRAG },
            _ => Passage::CLEAR,
        }
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, _: &Flows) -> Effect {
        let speed = situation.speed_rpm.abs();
        let mut signs = vec![];
        if speed > TURNING_RPM && mode != Some("bearing seized") {
            signs.push("drum turns");
        }
        if speed > ROARING_RPM && mode == Some("bearing noisy") {
            signs.push("roars");
        }
        if situation.level_l > 0.0 && mode == Some("tub leak") {
            signs.push("leaks");
        }
        Effect { signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_worn_bearing_roars_in_the_spin_and_not_in_the_wash() {
        let signs = |speed_rpm| {
            let s = Situation { speed_rpm, ..Situation::at_rest() };
            KIND.behaviour.effect(&Params::default(), Some("bearing noisy"), &s, &Flows::default()).signs
        };
        assert_eq!(signs(-52.0), ["drum turns"]);
        assert_eq!(signs(1200.0), ["drum turns", "roars"]);
    }
}
