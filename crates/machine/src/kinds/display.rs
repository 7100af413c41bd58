//! Display: lamps or figures on the panel, part of the board's low-voltage side.

use super::{Behaviour, COMMON, Effect, Flows, HandCheck, Mend, Mode, Panel, Params, PartKind, Power, Rate, Situation};

pub(super) static KIND: PartKind = PartKind {
    name: "display",
    about: "Figures or signal lamps of the panel, driven by the board without wiring of its own.",
    terminals: &[],
    params: &[],
    rate: Rate {
        percent: 0.7,
        source: "from memory: Tecchio et al. 2019, electronics 14.0 %; of it 5 % user interface is common \
            practice, no source",
    },
    modes: &[
        Mode { name: "dark", says: "stays dark", share: 0.5, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "segments missing",
            says: "has segments or lamps missing",
            share: 0.5,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Figures,
    checks: &[HandCheck {
        id: "look",
        ask: "With the machine on, are segments or lamps missing?",
        minutes: 1.0,
        caution: "",
        yes_in: &["dark", "segments missing"],
        at_part: false,
        power: Power::Closed,
        slip: 0.05,
    }],
    consequences: &[],
};

struct Figures;

impl Behaviour for Figures {
    fn effect(&self, _: &Params, mode: Option<&str>, _: &Situation, _: &Flows) -> Effect {
        let panel = match mode {
            Some("dark") => Panel::Dark,
            Some("segments missing") => Panel::Patchy,
            _ => Panel::Sound,
        };
        Effect { panel, ..Effect::default() }
    }
}
