//! Heating element: one or two rods in a sheath, insulated from it by magnesia.

use super::{Behaviour, Branch, COMMON, Consequence, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal};

/// Ohms between wire and sheath in a leaking rod: damp magnesia after a cracked sheath. At 230 V it passes about
/// 77 … 115 mA, well above the 30 mA of a protective device. Common practice, no source.
const LEAK_OHM: f64 = 2_000.0;

/// Where along the rod it leaks, as the share of its ohms counted from terminal 1: the hot, limed part lies off centre,
/// and off centre the two ends read differently to earth. Common practice, no source.
const LEAK_POSITION: f64 = 1.0 / 3.0;

/// Ohms of a rod at work against cold, in water. Source: an alloy maker's table for Cr20Ni80 (1.02 ± 0.01).
const HOT_OVER_COLD: f64 = 1.02;

/// Ohms of a weak rod against healthy: wire oxidised thin. Common practice, no source.
const WEAK_FACTOR: f64 = 1.35;

/// Relative standard uncertainty of the power where the file gives no tolerance: anywhere in +5 % … −10 % with equal
/// chance (limits: IEC 60335-1 clause 10.1, seen second-hand), so width 0.15 / √12.
const U_REL_UNSTATED: f64 = 0.0433;

/// Heat below which a hand on the sheath's medium feels nothing within a test step, watts. Common practice, no source.
const FELT_W: f64 = 100.0;

pub(super) static KIND: PartKind = PartKind {
    name: "heating element",
    about: "A rod (or two with a common end at terminal 2) that heats water or air; earthed sheath.",
    terminals: &[
        Terminal { name: "1", must: true, role: Role::Power },
        Terminal { name: "2", must: true, role: Role::Power },
        Terminal { name: "3", must: false, role: Role::Power },
        Terminal { name: "earth", must: true, role: Role::Earth },
    ],
    params: &[
        Param {
            name: "rated",
            takes: Takes::RatedAt(Dimension::Power, Dimension::Voltage),
            default: None,
            must: true,
            about: "power of the rod from 1 to 2 at a stated voltage, hot, with its tolerance (+5 % / -10 % unless given)",
        },
        Param {
            name: "second-rod",
            takes: Takes::RatedAt(Dimension::Power, Dimension::Voltage),
            default: None,
            must: false,
            about: "power of the rod from 3 to 2, where the element has two",
        },
        Param {
            name: "heats",
            takes: Takes::Choice(&["water", "air"]),
            default: Some("water"),
            must: false,
            about: "what it sits in: in air no lime settles on it",
        },
    ],
    rate: Rate { percent: 5.5, source: COMMON },
    modes: &[
        Mode { name: "open", says: "is open circuit", share: 0.55, source: COMMON, mend: Mend::Fit },
        Mode { name: "leak", says: "leaks to earth", share: 0.35, source: COMMON, mend: Mend::Fit },
        Mode { name: "weak", says: "has too much resistance", share: 0.02, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "one rod open",
            says: "has one rod open circuit",
            share: 0.05,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "lime-scaled",
            says: "is thick with lime",
            share: 0.03,
            source: COMMON,
            mend: Mend::Clean,
        },
    ],
    behaviour: &Rods,
    checks: &[HandCheck {
        id: "look",
        ask: "Is the rod covered with a thick crust of lime?",
        minutes: 4.0,
        caution: "Unplug first; let rod and water cool below 50 °C before you reach in. Gloves and glasses with lime cleaner.",
        yes_in: &["lime-scaled"],
        at_part: true,
        power: Power::Dead,
        slip: 0.1,
    }],
    consequences: &[
        Consequence {
            mode: "leak",
            kind: "relay output",
            brings: "welded",
            probability: 0.1,
            source: COMMON,
        },
        Consequence {
            mode: "lime-scaled",
            kind: "thermal cut-out",
            brings: "open",
            probability: 0.15,
            source: COMMON,
        },
    ],
};

struct Rods;

/// Hot ohms of the rod that the named parameter rates, and their relative uncertainty; `None` where there is no rod.
fn rod(params: &Params, name: &str) -> Option<(f64, f64)> {
    let (watts, volts) = (params.nominal(name), params.rated_at(name)?);
    let stated = params.u_rel(name);
    let u_rel = if stated > 0.0 { stated } else { U_REL_UNSTATED };
    (watts > 0.0 && volts > 0.0).then(|| (volts * volts / watts, u_rel))
}

/// A rod from its hot ohms.
fn branch(name: &'static str, from: &'static str, to: &'static str, hot: f64, u_rel: f64) -> Branch {
    Branch { name, from, to, ac: Path::resistor(hot), dc: Path::resistor(hot / HOT_OVER_COLD), u_rel, ac_u_rel: u_rel }
}

/// A rod that leaks at one point is a star: two pieces of rod and the leak. Seen from its three ends it equals a
/// triangle (star-triangle transform, Kennelly 1899), which needs no terminal inside the rod; the leak so acts from
/// whichever pole stays connected.
fn leaking(hot: f64, u_rel: f64, out: &mut Vec<Branch>) {
    let (a, b) = (hot * LEAK_POSITION, hot * (1.0 - LEAK_POSITION));
    let sum = a * b + (a + b) * LEAK_OHM;
    out.push(branch("rod", "1", "2", sum / LEAK_OHM, u_rel));
    for (name, from, ohms) in [("leak at 1", "1", sum / b), ("leak at 2", "2", sum / a)] {
        let path = Path::resistor(ohms);
        out.push(Branch { name, from, to: "earth", ac: path, dc: path, u_rel: 0.5, ac_u_rel: 0.5 });
    }
}

impl Behaviour for Rods {
    fn electrics(&self, params: &Params, mode: Option<&str>, _: &Situation, out: &mut Vec<Branch>) {
        let second = rod(params, "second-rod");
        let factor = if mode == Some("weak") { WEAK_FACTOR } else { 1.0 };
        // With two rods, "open" is the common end. With one, "one rod open" does not apply; asked all the same, it is open.
        let first_open = mode == Some("open") || (mode == Some("one rod open") && second.is_none());
        if let Some((hot, u_rel)) = rod(params, "rated")
            && !first_open
        {
            if mode == Some("leak") {
                leaking(hot, u_rel, out);
            } else {
                out.push(branch("rod", "1", "2", hot * factor, u_rel));
            }
        }
        if let Some((hot, u_rel)) = second
            && !matches!(mode, Some("open" | "one rod open"))
        {
            out.push(branch("second rod", "3", "2", hot * factor, u_rel));
        }
    }

    fn applies(&self, params: &Params, mode: &str) -> bool {
        match mode {
            "one rod open" => params.get("second-rod").is_some(),
            "lime-scaled" => params.text("heats") != "air",
            _ => true,
        }
    }

    fn heats_w(&self, params: &Params) -> f64 {
        params.nominal("rated") + params.nominal("second-rod")
    }

    fn spread(&self, _: &Params, param: &str) -> f64 {
        // The rectangle about the middle that has this uncertainty.
        if matches!(param, "rated" | "second-rod") { 3f64.sqrt() * U_REL_UNSTATED } else { 0.0 }
    }

    fn effect(&self, _: &Params, _: Option<&str>, _: &Situation, flows: &Flows) -> Effect {
        let heat_w = flows.watts.iter().sum();
        let signs = if heat_w > FELT_W { vec!["gets warm"] } else { vec![] };
        Effect { heat_w, signs, ..Effect::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use physics::heater::leak_position;
    use quantity::Toleranced;

    fn branches(second: bool, mode: Option<&str>) -> Vec<Branch> {
        let mut params = Params::default();
        params.set("rated", Value::RatedAt(Toleranced::exact(2_000.0), 230.0));
        if second {
            params.set("second-rod", Value::RatedAt(Toleranced::exact(1_000.0), 230.0));
        }
        let mut out = Vec::new();
        KIND.behaviour.electrics(&params, mode, &Situation::at_rest(), &mut out);
        out
    }

    fn ac(branch: &Branch) -> f64 {
        if let Path::Ohms { r, .. } = branch.ac { r } else { f64::NAN }
    }

    #[test]
    fn hot_ohms_follow_from_the_plate() {
        // 230² / 2000; common practice, no source: 26.45 Ω.
        assert!((ac(&branches(false, None)[0]) - 26.45).abs() < 1e-9);
    }

    #[test]
    fn the_leak_is_seen_from_both_ends_where_it_sits() {
        let leaking = branches(false, Some("leak"));
        let [rod, at_1, at_2] = [ac(&leaking[0]), ac(&leaking[1]), ac(&leaking[2])];
        let parallel = |p: f64, q: f64| p * q / (p + q);
        let found = leak_position(26.45, parallel(at_1, rod + at_2), parallel(at_2, rod + at_1));
        assert!(
            (found.fraction_from_1 - LEAK_POSITION).abs() < 1e-9 && (found.fault_ohm - LEAK_OHM).abs() < 1e-6
        );
        assert!((parallel(rod, at_1 + at_2) - 26.45).abs() < 1e-6);
    }

    #[test]
    fn one_rod_open_leaves_the_other() {
        assert_eq!(branches(true, None).len(), 2);
        let left = branches(true, Some("one rod open"));
        assert_eq!(left.iter().map(|b| b.name).collect::<Vec<_>>(), ["rod"]);
        assert!(branches(false, Some("one rod open")).is_empty());
    }
}
