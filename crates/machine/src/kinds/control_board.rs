//! Control board: its own supply and its wits. Its outputs are parts of their own.

use super::{Behaviour, Branch, COMMON, Dimension, Effect, Flows, HandCheck, Mend, Mode, Panel, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// Power factor of the small supply of a board at standby. Common practice, no source.
const POWER_FACTOR: f64 = 0.4;

/// It starts at this share of the rated volts and above.
const START_VOLTS: f64 = 0.6;

/// A dead supply leaves the capacitor at its input: 0 W and 0.03 A. Common practice, no source.
const DEAD_INPUT_FARADS: f64 = 0.41e-6;

/// Wait and measure before touching a board.
const DISCHARGE: &str =
    "Unplug, wait as the label says (5 minutes if there is none), measure DC before touching.";

/// The code is read with the machine on.
const SUBSTITUTE: &str = "Unplug and wait as the label says (5 minutes if there is none) before you put the resistor in. The board \
     is live while the code is read: panels back on first, hands away.";

pub(super) static KIND: PartKind = PartKind {
    name: "control board",
    about: "The board between its supply pins; its relays, triacs and inverter are parts of their own.",
    terminals: &[
        Terminal { name: "l", must: true, role: Role::Power },
        Terminal { name: "n", must: true, role: Role::Power },
    ],
    params: &[Param {
        name: "draws",
        takes: Takes::Quantity(Dimension::Power),
        default: Some("2 W"),
        must: false,
        about: "watts of the board itself while it is on",
    }],
    rate: Rate {
        percent: 5.6,
        source: "from memory: Tecchio et al. 2019, electronics 14.0 %; of it 40 % board supply, processor \
            and panel is common practice, no source",
    },
    modes: &[
        Mode { name: "supply dead", says: "has a dead supply", share: 0.23, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "processor",
            says: "has lost its processor or memory",
            share: 0.12,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "sensor input",
            says: "misreads sensors that are sound",
            share: 0.03,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "user interface",
            says: "has a panel that does not answer to its keys",
            share: 0.05,
            source: COMMON,
            mend: Mend::Fit,
        },
    ],
    behaviour: &Board,
    checks: &[
        HandCheck {
            id: "look",
            ask: "Is the supply part of the board burnt, or a capacitor on it bulging?",
            minutes: 4.0,
            caution: DISCHARGE,
            yes_in: &["supply dead"],
            at_part: true,
            power: Power::Dead,
            slip: 0.3,
        },
        HandCheck {
            id: "substitute",
            ask: "Does the code stay with a known resistor in place of the sensor at the board's connector?",
            minutes: 8.0,
            caution: SUBSTITUTE,
            yes_in: &["sensor input"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
        HandCheck {
            id: "panel",
            ask: "Is there a key, knob or lamp of the panel that does not respond?",
            minutes: 2.0,
            caution: "",
            yes_in: &["user interface", "supply dead", "processor"],
            at_part: false,
            power: Power::Closed,
            slip: 0.05,
        },
    ],
    consequences: &[],
};

struct Board;

impl Behaviour for Board {
    fn is_board(&self) -> bool {
        true
    }

    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let siemens = std::f64::consts::TAU * situation.hz * DEAD_INPUT_FARADS;
        let ac = match mode {
            Some("supply dead") if siemens > 0.0 => Path::Ohms { r: 0.0, x: -1.0 / siemens },
            Some("supply dead") => Path::Open,
            _ => Path::load(params.nominal("draws"), situation.rated_v, POWER_FACTOR),
        };
        // An ohmmeter charges the capacitor behind the rectifier and then sees next to nothing.
        out.push(Branch {
            name: "supply",
            from: "l",
            to: "n",
            ac,
            dc: Path::Open,
            u_rel: params.u_rel("draws"), ac_u_rel: params.u_rel("draws"),
        });
    }

    fn effect(&self, _: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        let alive = volts >= START_VOLTS * situation.rated_v;
        let runs = alive && !matches!(mode, Some("supply dead" | "processor"));
        Effect {
            runs,
            // What measures is shared by all its sensors: the converter and its reference.
            misreads: runs && mode == Some("sensor input"),
            panel: if runs && mode == Some("user interface") { Panel::Deaf } else { Panel::Sound },
            ..Effect::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_supply_still_draws_thirty_milliamperes_of_no_watts() {
        let s = Situation { driven: true, ..Situation::at_rest() };
        let mut out = vec![];
        KIND.behaviour.electrics(&Params::default(), Some("supply dead"), &s, &mut out);
        assert!(matches!(out[0].ac, Path::Ohms { r: 0.0, x } if (230.0 / -x - 0.03).abs() < 0.001));
    }

    #[test]
    fn it_runs_from_six_tenths_of_its_volts() {
        let s = Situation { driven: true, ..Situation::at_rest() };
        let runs = |volts| {
            let flows = Flows { volts: vec![volts], ..Flows::default() };
            KIND.behaviour.effect(&Params::default(), None, &s, &flows).runs
        };
        assert!(runs(140.0));
        assert!(!runs(130.0));
    }
}
