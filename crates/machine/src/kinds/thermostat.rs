//! Thermostat: a bimetal contact, closed cold, that opens at its mark and closes again lower.

use super::{Behaviour, Branch, COMMON, Consequence, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

pub(super) static KIND: PartKind = PartKind {
    name: "thermostat",
    about: "A bimetal contact that holds a temperature: closed cold, open above its mark.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
    ],
    params: &[
        Param {
            name: "opens-at",
            takes: Takes::Quantity(Dimension::Temperature),
            default: None,
            must: true,
            about: "temperature at which it opens",
        },
        Param {
            name: "recloses-at",
            takes: Takes::Quantity(Dimension::Temperature),
            default: None,
            must: false,
            about: "temperature at which it closes again, for the person who tests it in warm water: a service test \
                    comes from cold, so predictions use opens-at alone",
        },
    ],
    rate: Rate { percent: 1.0, source: COMMON },
    modes: &[
        Mode { name: "open", says: "stays open", share: 0.6, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "stuck closed",
            says: "does not open at its mark",
            share: 0.4,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Bimetal,
    checks: &[HandCheck {
        id: "warm water",
        ask: "Out of the machine in water above its mark, does it open (a small click, then over-range on ohms)?",
        minutes: 10.0,
        caution: "Unplug before taking it out. The water scalds: hold it with pliers.",
        yes_in: &[""],
        at_part: true,
        power: Power::Dead,
        slip: 0.05,
    }],
    consequences: &[Consequence {
        mode: "stuck closed",
        kind: "thermal cut-out",
        brings: "open",
        probability: 0.3,
        source: COMMON,
    }],
};

struct Bimetal;

impl Behaviour for Bimetal {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let opened = match mode {
            Some("open") => true,
            Some("stuck closed") => false,
            _ => situation.temperature_c >= params.nominal("opens-at"),
        };
        let ac = if opened { Path::Open } else { Path::Closed };
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
        params.set("opens-at", Value::Quantity(Toleranced::exact(60.0)));
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params, mode, &Situation { temperature_c, ..Situation::at_rest() }, &mut out);
        out[0].ac
    }

    #[test]
    fn it_opens_at_its_mark_unless_stuck() {
        assert_eq!((ac_at(None, 59.0), ac_at(None, 61.0)), (Path::Closed, Path::Open));
        assert_eq!(ac_at(Some("stuck closed"), 95.0), Path::Closed);
        assert_eq!(ac_at(Some("open"), 20.0), Path::Open);
    }
}
