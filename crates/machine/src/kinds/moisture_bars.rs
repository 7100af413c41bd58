//! Moisture bars: two bars of metal in a dryer's drum front, between which the board feels how damp the laundry is.

use super::{Behaviour, Branch, COMMON, HandCheck, Mend, Mode, Params, PartKind, Path, Power, Rate, Role, Situation, Terminal};

/// What joins the bars when damp fluff bridges them, or a bar is bent onto its bracket. Wet laundry reads a few kilohms
/// and more. Common practice, no source.
const BRIDGED_OHM: f64 = 500.0;

pub(super) static KIND: PartKind = PartKind {
    name: "moisture bars",
    about: "Two bars that wet laundry joins. Machines are tested with the drum empty, when they read open.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Signal },
        Terminal { name: "2", must: true, role: Role::Signal },
    ],
    params: &[],
    rate: Rate { percent: 3.0, source: COMMON },
    modes: &[
        Mode {
            name: "coated",
            says: "are coated, so that wet laundry counts as dry",
            share: 0.85,
            source: COMMON,
            mend: Mend::Clean,
        },
        Mode {
            name: "bridged",
            says: "are bridged, so that dry laundry counts as wet",
            share: 0.15,
            source: COMMON,
            mend: Mend::Clean,
        },
    ],
    behaviour: &Bars,
    checks: &[
        HandCheck {
            id: "wet cloth",
            ask: "With a wet cloth over both bars, does a meter on their leads read above 1 MΩ?",
            minutes: 4.0,
            caution: "Unplug. Do not drip into the drum's bearing or the lamp.",
            yes_in: &["coated"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
        HandCheck {
            id: "look",
            ask: "Do the bars look dull or lined instead of bright?",
            minutes: 1.0,
            caution: "Unplug. Let the drum cool.",
            yes_in: &["coated"],
            at_part: false,
            power: Power::Dead,
            slip: 0.25,
        },
    ],
    consequences: &[],
};

struct Bars;

impl Behaviour for Bars {
    fn electrics(&self, _: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let path = if mode == Some("bridged") { Path::resistor(BRIDGED_OHM) } else { Path::Open };
        out.push(Branch { name: "bars", from: "1", to: "2", ac: path, dc: path, u_rel: 0.5, ac_u_rel: 0.5 });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_they_are_open_unless_bridged() {
        let reads = |mode| {
            let mut out = vec![];
            KIND.behaviour.electrics(&Params::default(), mode, &Situation::at_rest(), &mut out);
            out[0].dc
        };
        assert_eq!((reads(None), reads(Some("coated"))), (Path::Open, Path::Open));
        assert_eq!(reads(Some("bridged")), Path::resistor(500.0));
    }
}
