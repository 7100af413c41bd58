//! Mains filter: chokes in both lines, a capacitor between them with its bleed resistor, one from each to earth.

use super::{Behaviour, Branch, COMMON, Consequence, Dimension, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};
use physics::capacitor::reactance_ohm;

/// Ohms of a shorted X capacitor: "near 0 Ω" between line and neutral. Common practice, no source.
const SHORT_OHM: f64 = 0.2;

/// Ohms from line to earth of a leaking filter: 46 mA at 230 V, enough for a 30 mA protective device. Common practice.
const LEAK_OHM: f64 = 5_000.0;

pub(super) static KIND: PartKind = PartKind {
    name: "mains filter",
    about: "Keeps the machine's disturbances off the mains: chokes, capacitors, a bleed resistor.",
    terminals: &[
        Terminal { name: "in-l", must: true, role: Role::Power },
        Terminal { name: "in-n", must: true, role: Role::Power },
        Terminal { name: "out-l", must: true, role: Role::Power },
        Terminal { name: "out-n", must: true, role: Role::Power },
        Terminal { name: "earth", must: false, role: Role::Earth },
    ],
    params: &[
        Param {
            name: "x-capacitor",
            takes: Takes::Quantity(Dimension::Capacitance),
            default: Some("470 nF ±20 %"),
            must: false,
            about: "capacitor between line and neutral",
        },
        Param {
            name: "y-capacitor",
            takes: Takes::Quantity(Dimension::Capacitance),
            default: Some("4.7 nF ±20 %"),
            must: false,
            about: "each of the two capacitors to earth",
        },
        Param {
            name: "bleed",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("680k ±5 %"),
            must: false,
            about: "resistor that empties the X capacitor after unplugging",
        },
        Param {
            name: "choke",
            takes: Takes::Quantity(Dimension::Resistance),
            default: Some("0R4 ±30 %"),
            must: false,
            about: "ohms of the choke in each line",
        },
    ],
    rate: Rate { percent: 0.7, source: COMMON },
    modes: &[
        Mode { name: "open", says: "is open in its line choke", share: 0.4, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "short",
            says: "is shorted between the lines",
            share: 0.25,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "leaking", says: "leaks to earth", share: 0.35, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Filter,
    checks: &[HandCheck {
        id: "look",
        ask: "Is the filter's case burst, swollen or burnt?",
        minutes: 1.0,
        caution: "Unplug; its capacitor may hold charge: wait two minutes, then measure DC before you touch.",
        yes_in: &["short"],
        at_part: true,
        power: Power::Dead,
        slip: 0.3,
    }],
    consequences: &[Consequence {
        mode: "short",
        kind: "fuse",
        brings: "open",
        probability: 0.7,
        source: COMMON,
    }],
};

struct Filter;

/// A capacitor as a branch: reactance to the mains, no path to an ohmmeter once charged.
fn capacitor(name: &'static str, from: &'static str, to: &'static str, value: (f64, f64), hz: f64) -> Branch {
    let (farad, u_rel) = value;
    let ac = if farad > 0.0 && hz > 0.0 {
        Path::Ohms { r: 0.0, x: -reactance_ohm(farad, hz) }
    } else {
        Path::Open
    };
    Branch { name, from, to, ac, dc: Path::Open, u_rel, ac_u_rel: u_rel }
}

impl Behaviour for Filter {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let resistor = |name, from, to, r, u_rel| {
            let path = Path::resistor(r);
            Branch { name, from, to, ac: path, dc: path, u_rel, ac_u_rel: u_rel }
        };
        let (choke, u_choke) = (params.nominal("choke"), params.u_rel("choke"));
        if mode != Some("open") {
            out.push(resistor("line choke", "in-l", "out-l", choke, u_choke));
        }
        out.push(resistor("neutral choke", "in-n", "out-n", choke, u_choke));
        let x = (params.nominal("x-capacitor"), params.u_rel("x-capacitor"));
        out.push(capacitor("X capacitor", "in-l", "in-n", x, situation.hz));
        out.push(resistor("bleed resistor", "in-l", "in-n", params.nominal("bleed"), params.u_rel("bleed")));
        let y = (params.nominal("y-capacitor"), params.u_rel("y-capacitor"));
        out.push(capacitor("line Y capacitor", "out-l", "earth", y, situation.hz));
        out.push(capacitor("neutral Y capacitor", "out-n", "earth", y, situation.hz));
        match mode {
            Some("short") => out.push(resistor("short", "in-l", "in-n", SHORT_OHM, 0.5)),
            Some("leaking") => out.push(resistor("leak", "out-l", "earth", LEAK_OHM, 0.5)),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn idle_current_of_the_capacitors() {
        let amps = |farad: f64| match capacitor("c", "in-l", "in-n", (farad, 0.0), 50.0).ac {
            Path::Ohms { x, .. } => 230.0 / -x,
            _ => f64::NAN,
        };
        // Computed, V 2π f C: 0.47 µF draws 34 mA, 22 nF 1.59 mA at 230 V, 50 Hz.
        assert!((amps(0.47e-6) - 0.0340).abs() < 0.0001 && (amps(22e-9) - 0.001_59).abs() < 0.000_01);
    }
}
