//! Thermal cut-out: opens when what it sits on is too hot, and protects where a thermostat or relay failed.

use super::{Behaviour, Branch, COMMON, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// How far below its mark a tired cut-out opens, kelvin: it then opens at working temperature. Common practice, no source.
const EARLY_BY_K: f64 = 60.0;

pub(super) static KIND: PartKind = PartKind {
    name: "thermal cut-out",
    about: "Opens one line of a heater when too hot; by hand or not at all does it close again.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "opens-at",
        takes: Takes::Quantity(Dimension::Temperature),
        default: Some("110 °C"),
        must: false,
        about: "temperature at which it opens",
    }],
    rate: Rate { percent: 0.5, source: COMMON },
    modes: &[
        Mode { name: "open", says: "has opened", share: 0.8, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "opens early",
            says: "opens below its mark",
            share: 0.2,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &CutOut,
    checks: &[
        HandCheck {
        id: "press reset",
        ask: "Does its reset button click in when pressed?",
        minutes: 1.0,
        caution: "Unplug; let it cool. Find the cause (relay, level, lime, lint) before heating again; never bridge it.",
        yes_in: &["open"],
        at_part: true,
        power: Power::Dead,
        slip: 0.3,
    },
        HandCheck {
            id: "warm",
            ask: "Warmed with hot air beside a thermometer, does it open far below the mark printed on it?",
            minutes: 10.0,
            caution: "Unplug, take both leads off. Hot air burns skin and wires: away from the loom, never with a flame.",
            yes_in: &["opens early"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
    ],
    consequences: &[],
};

struct CutOut;

impl Behaviour for CutOut {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let mark = params.nominal("opens-at");
        let opened = match mode {
            Some("open") => true,
            Some("opens early") => situation.temperature_c >= mark - EARLY_BY_K,
            _ => situation.temperature_c >= mark,
        };
        let ac = if opened { Path::Open } else { Path::Closed };
        // An ohmmeter comes when all is cold: one that opens early has closed again by then.
        let dc = if mode == Some("open") { Path::Open } else { Path::Closed };
        out.push(Branch { name: "contact", from: "1", to: "2", ac, dc, u_rel: 0.0, ac_u_rel: 0.0 });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    fn ac_at(mode: Option<&str>, temperature_c: f64) -> Path {
        let mut params = Params::default();
        params.set("opens-at", Value::Quantity(Toleranced::exact(110.0)));
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params, mode, &Situation { temperature_c, ..Situation::at_rest() }, &mut out);
        out[0].ac
    }

    #[test]
    fn a_tired_one_opens_at_working_temperature() {
        assert_eq!((ac_at(None, 60.0), ac_at(None, 115.0)), (Path::Closed, Path::Open));
        assert_eq!(
            (ac_at(Some("opens early"), 20.0), ac_at(Some("opens early"), 60.0)),
            (Path::Closed, Path::Open)
        );
    }
}
