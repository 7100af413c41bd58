//! Pressure switch: contacts that change over as the water in the tub presses on an air column.

use super::{Behaviour, Branch, COMMON, Consequence, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Sensed, Situation, Takes, Terminal};

/// Marks of a drifted switch against healthy: it asks for more water. Common practice, no source.
const DRIFT_FACTOR: f64 = 1.4;

pub(super) static KIND: PartKind = PartKind {
    name: "pressure switch",
    about: "Level contacts: c to empty below one mark, c to full from another, c to overflow from a third.",
    terminals: &[
        Terminal { name: "c", must: true, role: Role::Power },
        Terminal { name: "empty", must: false, role: Role::Power },
        Terminal { name: "full", must: true, role: Role::Power },
        Terminal { name: "overflow", must: false, role: Role::Power },
    ],
    params: &[
        Param {
            name: "full-at",
            takes: Takes::Quantity(Dimension::Volume),
            default: None,
            must: true,
            about: "water from which c to full is made",
        },
        Param {
            name: "empty-at",
            takes: Takes::Quantity(Dimension::Volume),
            default: None,
            must: false,
            about: "water below which c to empty is made; as full-at unless given. Between the two neither contact is \
                    counted on: which is made there depends on the way the water went",
        },
        Param {
            name: "overflow-at",
            takes: Takes::Quantity(Dimension::Volume),
            default: None,
            must: false,
            about: "water from which c to overflow is made",
        },
    ],
    rate: Rate { percent: 1.6, source: COMMON },
    modes: &[
        Mode { name: "stuck empty", says: "is stuck at empty", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode { name: "stuck full", says: "is stuck at full", share: 0.3, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "drift",
            says: "changes over at too much water",
            share: 0.35,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Contacts,
    checks: &[
        HandCheck {
        id: "blow",
        ask: "With its hose off, does it click when you blow gently and again when you let go?",
        minutes: 4.0,
        caution: "Unplug first. Blow gently by mouth only. No heater test while it shows full without water.",
        yes_in: &["", "drift"],
        at_part: true,
        power: Power::Dead,
        slip: 0.1,
    },
        HandCheck {
            id: "mark",
            ask: "Raised slowly by a syringe with a gauge, or by a measured jug, does it change over far above its mark?",
            minutes: 8.0,
            caution: "Unplug first. Press gently: the membrane tears.",
            yes_in: &["drift"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[Consequence {
        mode: "stuck full",
        kind: "thermal cut-out",
        brings: "open",
        probability: 0.2,
        source: COMMON,
    }],
};

struct Contacts;

/// What the switch believes of the water.
struct Shows {
    empty: bool,
    full: bool,
    overflow: bool,
}

fn shows(params: &Params, mode: Option<&str>, level_l: f64) -> Shows {
    let factor = if mode == Some("drift") { DRIFT_FACTOR } else { 1.0 };
    let mark = |name| params.get(name).map(|_| params.nominal(name) * factor);
    let full_at = mark("full-at").unwrap_or(f64::INFINITY);
    match mode {
        Some("stuck empty") => Shows { empty: true, full: false, overflow: false },
        Some("stuck full") => Shows { empty: false, full: true, overflow: false },
        _ => Shows {
            empty: level_l < mark("empty-at").unwrap_or(full_at),
            full: level_l >= full_at,
            overflow: mark("overflow-at").is_some_and(|at| level_l >= at),
        },
    }
}

impl Behaviour for Contacts {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let now = shows(params, mode, situation.level_l);
        let contacts = [("empty", now.empty), ("full", now.full), ("overflow", now.overflow)];
        for (name, made) in contacts {
            let path = if made { Path::Closed } else { Path::Open };
            out.push(Branch { name, from: "c", to: name, ac: path, dc: path, u_rel: 0.0, ac_u_rel: 0.0 });
        }
    }

    /// Litres of the highest mark that the contacts say is passed, for a board that reckons in litres.
    fn sense(&self, params: &Params, mode: Option<&str>, situation: &Situation) -> Sensed {
        let now = shows(params, mode, situation.level_l);
        let passed = [(now.overflow, "overflow-at"), (now.full, "full-at"), (!now.empty, "empty-at")];
        let mark = passed.into_iter().find(|&(is, _)| is).map(|(_, mark)| params.nominal(mark));
        Sensed::Value(mark.unwrap_or(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    #[test]
    fn contacts_follow_the_marks() {
        let mut params = Params::default();
        params.set("full-at", Value::Quantity(Toleranced::exact(5.0)));
        params.set("empty-at", Value::Quantity(Toleranced::exact(2.0)));
        let made = |mode, level| {
            let now = shows(&params, mode, level);
            (now.empty, now.full, now.overflow)
        };
        let litres = |mode, level_l| KIND.behaviour.sense(&params, mode, &Situation { level_l, ..Situation::at_rest() });
        assert_eq!(litres(None, 1.0), Sensed::Value(0.0));
        assert_eq!(litres(None, 3.0), Sensed::Value(2.0));
        assert_eq!(litres(Some("drift"), 6.0), Sensed::Value(2.0));
        assert_eq!(litres(Some("stuck full"), 0.0), Sensed::Value(5.0));
        assert_eq!(made(None, 1.0), (true, false, false));
        assert_eq!(made(None, 3.0), (false, false, false));
        assert_eq!(made(None, 6.0), (false, true, false));
        assert_eq!(made(Some("drift"), 6.0), (false, false, false));
        assert_eq!(made(Some("stuck empty"), 6.0), (true, false, false));
        assert_eq!(made(Some("stuck full"), 0.0), (false, true, false));
    }
}
