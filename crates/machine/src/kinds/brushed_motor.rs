//! Brushed motor: a commutator motor with armature and field in series, its speed set by a triac.

use super::{Behaviour, Branch, COMMON, Consequence, Dimension, Effect, Flows, HandCheck, Mend, Mode, Param, Params, PartKind, Path, Power, Rate, Role, Situation, Takes, Terminal, work};
use crate::params::interpolate;

/// A winding that leaks to its frame: low enough to trip a 30 mA protection at once, ohms.
pub(super) const LEAK_OHM: f64 = 2_000.0;

/// Current below which a winding gives no torque worth the name, amperes: leakage and suppressors pass less.
pub(super) const ACTIVE_A: f64 = 0.05;

/// Share of the impedance that lies in the armature at work, where the turning rotor's counter-voltage stands.
const ARMATURE_SHARE: f64 = 0.8;

/// At full voltage and without control it outruns its highest wanted speed; the watts rise with it.
const RACE: f64 = 1.3;

/// Reactance against resistance of the windings at rest. R = 4 Ω with X = 5 Ω is common
/// practice, no source.
const LOCKED_X_OVER_R: f64 = 1.25;

/// What the board lets through while it tries to start a motor that does not move: bursts of 200–1500 W at a small
/// phase angle, watts. Common practice, no source; the middle in the ratio sense.
const BURST_W: f64 = 550.0;

/// Relative standard uncertainty of those watts, by ratio. Common practice, no source.
const BURST_U_REL: f64 = 0.5;

/// Power factor of such a burst. 0.5–0.9 is common practice, no source.
const BURST_POWER_FACTOR: f64 = 0.5;

/// Worn brushes bridge the commutator badly: a few ohms at rest, unsteady. Common practice, no source.
const WORN_BRUSH_OHM: f64 = 15.0;

/// Share of watts left with worn brushes or with an open armature segment (20–60 % is common practice, no source).
const RAGGED: f64 = 0.5;

/// One open segment takes one of the two parallel halves of the armature away.
const OPEN_SEGMENT: f64 = 2.0;

pub(super) static KIND: PartKind = PartKind {
    name: "brushed motor",
    about: "A commutator motor on a triac: armature on brushes, field in series, turned over by swapping \
        the two.",
    terminals: &[
        Terminal { name: "a1", must: true, role: Role::Power },
        Terminal { name: "a2", must: true, role: Role::Power },
        Terminal { name: "f1", must: true, role: Role::Power },
        Terminal { name: "f2", must: true, role: Role::Power },
        Terminal { name: "ft", must: false, role: Role::Power },
        Terminal { name: "earth", must: true, role: Role::Earth },
    ],
    params: &[
        Param {
            name: "armature",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "cold resistance between the brush leads",
        },
        Param {
            name: "field",
            takes: Takes::Quantity(Dimension::Resistance),
            default: None,
            must: true,
            about: "cold resistance of the whole field",
        },
        Param {
            name: "tap",
            takes: Takes::Quantity(Dimension::Ratio),
            default: None,
            must: false,
            about: "share of the field between f1 and ft, where the field has a tap",
        },
        Param {
            name: "draws",
            takes: Takes::Table(Dimension::Speed, Dimension::Power),
            default: None,
            must: true,
            about: "drum speed against watts at rated voltage",
        },
        work::WITHIN,
        Param {
            name: "power-factor",
            takes: Takes::Quantity(Dimension::Ratio),
            default: Some("70 %"),
            must: false,
            about: "power factor at work (0.5 to 0.9 is common practice)",
        },
        Param {
            name: "turns",
            takes: Takes::Words,
            default: Some("drum"),
            must: false,
            about: "what it turns",
        },
    ],
    rate: Rate {
        percent: 12.1,
        source: "from memory: Tecchio et al. 2019, carbon brushes 9.7 %; motor without tacho 2.4 % is \
            common practice, no source",
    },
    modes: &[
        Mode { name: "brushes worn", says: "has worn brushes", share: 0.48, source: COMMON, mend: Mend::Fit },
        Mode {
            name: "brushes open",
            says: "has brushes that no longer touch",
            share: 0.32,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode {
            name: "armature",
            says: "has an open armature segment",
            share: 0.116,
            source: COMMON,
            mend: Mend::Fit,
        },
        Mode { name: "field open", says: "has an open field", share: 0.05, source: COMMON, mend: Mend::Fit },
        Mode { name: "leak to earth", says: "leaks to earth", share: 0.033, source: COMMON, mend: Mend::Fit },
        Mode { name: "locked", says: "is stiff or locked", share: 0.01, source: COMMON, mend: Mend::Fit },
    ],
    behaviour: &Commutator,
    checks: &[
        HandCheck {
            id: "brushes",
            ask: "Is a brush shorter than 10 mm, chipped or stuck in its holder?",
            minutes: 8.0,
            caution: "Unplug. Let the motor cool.",
            yes_in: &["brushes worn", "brushes open"],
            at_part: true,
            power: Power::Dead,
            slip: 0.05,
        },
        HandCheck {
            id: "commutator",
            ask: "Are bars of the commutator burnt, or does it spark at one spot?",
            minutes: 6.0,
            caution: "Unplug before looking closer than through the vents.",
            yes_in: &["armature"],
            at_part: true,
            power: Power::Dead,
            slip: 0.1,
        },
        HandCheck {
            id: "turn by hand",
            ask: "With the belt off, is the motor stiff to turn by hand?",
            minutes: 4.0,
            caution: "Unplug. Keep fingers clear of pulley and fan.",
            yes_in: &["locked"],
            at_part: true,
            power: Power::Dead,
            slip: 0.03,
        },
    ],
    consequences: &[Consequence {
        mode: "brushes worn",
        kind: "brushed motor",
        brings: "armature",
        probability: 0.1,
        source: COMMON,
    }],
};

struct Commutator;

/// Highest row of the table, as speed and watts.
fn top(params: &Params) -> (f64, f64) {
    params.table("draws").last().copied().unwrap_or((0.0, 0.0))
}

/// Impedance of armature and field together.
fn series(params: &Params, mode: Option<&str>, situation: &Situation) -> (f64, f64) {
    let turning = situation.moving && mode != Some("locked");
    let ragged = if matches!(mode, Some("brushes worn" | "armature")) { RAGGED } else { 1.0 };
    let load = match (turning, situation.driven) {
        (true, true) => {
            let watts = interpolate(params.table("draws"), situation.wanted_rpm.abs()) * situation.drag;
            Path::load(watts * ragged, situation.rated_v, params.nominal("power-factor"))
        }
        (true, false) => {
            Path::load(top(params).1 * RACE * ragged, situation.rated_v, params.nominal("power-factor"))
        }
        (false, true) => Path::load(BURST_W, situation.rated_v, BURST_POWER_FACTOR),
        (false, false) => Path::Open,
    };
    // Nobody holds the current back where the board does not drive it: the windings alone limit it.
    let cold = params.nominal("armature") + params.nominal("field");
    match load {
        Path::Ohms { r, x } => (r, x),
        Path::Open | Path::Closed => (cold, cold * LOCKED_X_OVER_R),
    }
}

/// Relative standard uncertainty of the watts of armature and field together.
fn work_u_rel(params: &Params, mode: Option<&str>, situation: &Situation) -> f64 {
    if situation.moving && mode != Some("locked") { work::u_rel(params, "draws") } else { BURST_U_REL }
}

/// Cold resistance between the brush leads.
fn armature_cold(params: &Params, mode: Option<&str>) -> f64 {
    let cold = params.nominal("armature");
    match mode {
        Some("brushes worn") => cold + WORN_BRUSH_OHM,
        Some("armature") => cold * OPEN_SEGMENT,
        _ => cold,
    }
}

impl Behaviour for Commutator {
    fn can_stall(&self) -> bool {
        true
    }

    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let (r, x) = series(params, mode, situation);
        let part = |share: f64| Path::Ohms { r: r * share, x: x * share };
        let (ac, dc) = if mode == Some("brushes open") {
            (Path::Open, Path::Open)
        } else {
            (part(ARMATURE_SHARE), Path::resistor(armature_cold(params, mode)))
        };
        let u_rel = params.u_rel("armature");
        // Armature and field stray together, while branches count as independent: it all counts at the armature.
        let ac_u_rel = work_u_rel(params, mode, situation) / ARMATURE_SHARE;
        out.push(Branch { name: "armature", from: "a1", to: "a2", ac, dc, u_rel, ac_u_rel });
        let u_rel = params.u_rel("field");
        let mut field = |name, from, to, share: f64, open: bool| {
            let whole = Path::resistor(params.nominal("field") * share);
            let (ac, dc) =
                if open { (Path::Open, Path::Open) } else { (part((1.0 - ARMATURE_SHARE) * share), whole) };
            out.push(Branch { name, from, to, ac, dc, u_rel, ac_u_rel: 0.0 });
        };
        let (open, tap) = (mode == Some("field open"), params.nominal("tap"));
        if tap > 0.0 && tap < 1.0 {
            field("field to tap", "f1", "ft", tap, open);
            field("field from tap", "ft", "f2", 1.0 - tap, false);
        } else {
            field("field", "f1", "f2", 1.0, open);
        }
        if mode == Some("leak to earth") {
            out.push(earth_leak("a1"));
        }
    }

    fn spread(&self, params: &Params, param: &str) -> f64 {
        if param == "draws" { work::within(params) } else { 0.0 }
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let fields = if params.nominal("tap") > 0.0 { 1..3 } else { 1..2 };
        let armature = current(flows, 0);
        let field = fields
            .map(|i| current(flows, i))
            .max_by(|a, b| size(*a).total_cmp(&size(*b)))
            .unwrap_or_default();
        if size(armature) < ACTIVE_A || size(field) < ACTIVE_A {
            return Effect::default();
        }
        if mode == Some("locked") {
            return Effect { signs: vec!["hums"], ..Effect::default() };
        }
        // Torque follows the product of the two currents: swap one of them and it turns the other way.
        let way = (armature.0 * field.0 + armature.1 * field.1).signum();
        let speed = if situation.driven { situation.wanted_rpm.abs() } else { top(params).0 * RACE };
        let mut signs = if situation.driven { vec![] } else { vec!["races"] };
        let held = if matches!(mode, Some("brushes worn" | "armature")) {
            signs.push("jerks");
            RAGGED
        } else {
            1.0
        };
        Effect { turns_rpm: Some(way * speed * held), runs: true, signs, ..Effect::default() }
    }
}

/// Leak from a winding's end to the frame.
pub(super) fn earth_leak(from: &'static str) -> Branch {
    let leak = Path::resistor(LEAK_OHM);
    Branch { name: "leak", from, to: "earth", ac: leak, dc: leak, u_rel: 1.0, ac_u_rel: 1.0 }
}

/// Current in a branch, 0 where it is not known.
pub(super) fn current(flows: &Flows, branch: usize) -> (f64, f64) {
    flows.amps.get(branch).copied().unwrap_or_default()
}

/// Magnitude of a phasor.
pub(super) fn size(a: (f64, f64)) -> f64 {
    a.0.hypot(a.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Value;
    use quantity::Toleranced;

    fn motor() -> Params {
        let mut p = Params::default();
        p.set("armature", Value::Quantity(Toleranced::exact(2.2)));
        p.set("field", Value::Quantity(Toleranced::exact(1.4)));
        p.set("power-factor", Value::Quantity(Toleranced::exact(0.7)));
        p.set("draws", Value::Table(vec![(50.0, 60.0), (1000.0, 400.0)]));
        p
    }

    fn tumbling() -> Situation {
        Situation { driven: true, wanted_rpm: 50.0, moving: true, ..Situation::at_rest() }
    }

    #[test]
    fn armature_and_field_together_take_the_watts_of_the_table() {
        let mut out = vec![];
        KIND.behaviour.electrics(&motor(), None, &tumbling(), &mut out);
        let (r, x) = out.iter().fold((0.0, 0.0), |(r, x), b| match b.ac {
            Path::Ohms { r: br, x: bx } => (r + br, x + bx),
            _ => (r, x),
        });
        let watts = 230.0 * 230.0 * r / (r * r + x * x);
        assert!((watts - 60.0).abs() < 1e-9, "{watts}");
    }

    #[test]
    fn swapping_the_field_turns_it_the_other_way() {
        let flows = |field| Flows { amps: vec![(0.3, -0.2), field], ..Flows::default() };
        let turns = |field| KIND.behaviour.effect(&motor(), None, &tumbling(), &flows(field)).turns_rpm;
        assert_eq!(turns((0.3, -0.2)), Some(50.0));
        assert_eq!(turns((-0.3, 0.2)), Some(-50.0));
        assert_eq!(turns((0.0, 0.0)), None);
    }

    #[test]
    fn current_that_nobody_ordered_makes_it_race() {
        let idle = Situation { driven: false, wanted_rpm: 0.0, ..tumbling() };
        let flows = Flows { amps: vec![(3.0, 0.0), (3.0, 0.0)], ..Flows::default() };
        let effect = KIND.behaviour.effect(&motor(), None, &idle, &flows);
        assert_eq!(effect.signs, ["races"]);
        assert_eq!(effect.turns_rpm, Some(1300.0));
    }

    #[test]
    fn the_board_holds_back_a_locked_motor_and_a_shorted_triac_does_not() {
        let watts = |driven| {
            let mut out = vec![];
            KIND.behaviour.electrics(&motor(), Some("locked"), &Situation { driven, ..tumbling() }, &mut out);
            let (r, x) = out.iter().fold((0.0, 0.0), |(r, x), b| match b.ac {
                Path::Ohms { r: br, x: bx } => (r + br, x + bx),
                _ => (r, x),
            });
            230.0 * 230.0 * r / (r * r + x * x)
        };
        // Bursts of 200–1500 W: common practice, no source.
        assert!((200.0..1500.0).contains(&watts(true)), "{}", watts(true));
        assert!(watts(false) > 1500.0, "{}", watts(false));
    }

    #[test]
    fn a_tapped_field_still_reads_as_a_whole_between_its_ends() {
        let mut p = motor();
        p.set("tap", Value::Quantity(Toleranced::exact(0.5)));
        let mut out = vec![];
        KIND.behaviour.electrics(&p, None, &tumbling(), &mut out);
        assert_eq!(out[1].dc, Path::resistor(0.7));
        assert_eq!(out[2].dc, Path::resistor(0.7));
    }
}
