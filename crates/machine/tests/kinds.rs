//! What must hold of every part kind, whoever wrote it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use machine::kind::{self, Branch, Effect, Flows, Medium, PartKind, Passage, Path, Sensed, Situation, Takes};
use machine::params::{Params, Value};
use proptest::prelude::*;
use quantity::{Dimension, Toleranced, parse_at, parse_range, parse_toleranced};
use std::collections::BTreeSet;

/// The words in which kinds may report what is seen, heard or felt: those that `bench` and `diagnosis` know.
const SIGNS: &[&str] = &[
    "drum turns",
    "water enters",
    "water drains",
    "clicks",
    "hums",
    "gets warm",
    "fan blows",
    "lamp lights",
    "roars",
    "squeals",
    "jerks",
    "races",
    "leaks",
    "sprays",
];

/// A plausible value of each dimension, in its base unit, for parameters without default.
fn sample(dimension: Dimension) -> f64 {
    match dimension {
        Dimension::Voltage => 230.0,
        Dimension::Current => 10.0,
        Dimension::Power => 1_850.0,
        Dimension::ApparentPower | Dimension::ReactivePower => 7.0,
        Dimension::Frequency => 50.0,
        Dimension::Volume => 6.0,
        Dimension::Temperature => 60.0,
        Dimension::TemperatureDifference => 3_977.0,
        Dimension::Resistance => 4_700.0,
        Dimension::Capacitance => 16e-6,
        Dimension::Speed => 1_000.0,
        Dimension::Ratio => 0.6,
        _ => 1.0,
    }
}

/// A value of the form that a parameter takes, where neither file nor default gives one.
fn sample_value(takes: Takes) -> Value {
    match takes {
        Takes::Quantity(d) => Value::Quantity(Toleranced::symmetric_relative(sample(d), 0.05)),
        Takes::RatedAt(d, at) => Value::RatedAt(Toleranced::exact(sample(d)), sample(at)),
        Takes::Range(d) => Value::Range(sample(d) * 0.5, sample(d) * 2.0),
        Takes::Table(x, y) => {
            Value::Table(vec![(sample(x) * 0.05, sample(y)), (sample(x) * 2.0, sample(y) * 0.2)])
        }
        Takes::Choice(words) => Value::Text(words.first().copied().unwrap_or("").to_owned()),
        Takes::Flag => Value::Flag(true),
        Takes::Words | Takes::Part => Value::Text("other".to_owned()),
    }
}

/// A default as the reader of machine files puts it in.
fn parse_default(takes: Takes, text: &str) -> Result<Value, String> {
    let said = |e: quantity::NotationError| e.to_string();
    match takes {
        Takes::Quantity(d) => parse_toleranced(text, d).map(Value::Quantity).map_err(said),
        Takes::RatedAt(d, at) => parse_at(text, d, at).map(|(q, at)| Value::RatedAt(q, at)).map_err(said),
        Takes::Range(d) => parse_range(text, d).map(|(low, high)| Value::Range(low, high)).map_err(said),
        Takes::Choice(words) if !words.contains(&text) => Err(format!("{text} is none of {words:?}")),
        Takes::Choice(_) | Takes::Words | Takes::Part => Ok(Value::Text(text.to_owned())),
        Takes::Flag => text.parse().map(Value::Flag).map_err(|_| format!("{text} is neither true nor false")),
        Takes::Table(..) => Err("a table cannot be a default".to_owned()),
    }
}

/// Parameters of a part of which the file says only what it must (`all` false), or everything.
fn params(kind: &PartKind, all: bool) -> Params {
    let mut out = Params::default();
    for p in kind.params {
        match p.default {
            Some(text) => out.set(p.name, parse_default(p.takes, text).unwrap()),
            None if p.must || all => out.set(p.name, sample_value(p.takes)),
            None => {}
        }
    }
    out
}

/// Situations that between them show every mode: dry to overflowing, cold to hot, still to spinning either way.
fn situations() -> Vec<Situation> {
    let mut out = Vec::new();
    for flags in 0..8_u8 {
        for level_l in [0.0, 7.0, 30.0] {
            for temperature_c in [20.0, 62.0, 85.0, 300.0] {
                for speed in [0.0, 52.0, -1_000.0] {
                    out.push(Situation {
                        rated_v: 230.0,
                        hz: 50.0,
                        driven: flags & 1 != 0,
                        wanted_rpm: speed,
                        moving: flags & 2 != 0,
                        locked: flags & 4 != 0,
                        level_l,
                        temperature_c,
                        speed_rpm: speed,
                        demand_w: 100.0,
                        demand_u_w: 7.0,
                        drag: 1.0,
                    });
                }
            }
        }
    }
    out
}

/// Everything that can be seen of a part from outside, by instrument, eye or the board.
#[derive(Debug, PartialEq)]
struct Seen {
    branches: Vec<Branch>,
    effects: Vec<Effect>,
    sensed: Sensed,
    passages: Vec<Passage>,
}

/// Flows as if each branch had `volts` across it.
fn flows(branches: &[Branch], volts: f64, phases: u8) -> Flows {
    let amps = |b: &Branch| match b.ac {
        Path::Ohms { r, x } if r != 0.0 || x != 0.0 => {
            (volts * r / (r * r + x * x), -volts * x / (r * r + x * x))
        }
        Path::Ohms { .. } | Path::Open | Path::Closed => (0.0, 0.0),
    };
    Flows {
        volts: vec![volts; branches.len()],
        amps: branches.iter().map(amps).collect(),
        watts: branches.iter().map(|b| amps(b).0 * volts).collect(),
        phases,
    }
}

fn seen(kind: &PartKind, params: &Params, mode: Option<&str>, s: &Situation) -> Seen {
    let mut branches = Vec::new();
    kind.behaviour.electrics(params, mode, s, &mut branches);
    let effects = [(230.0, 3), (230.0, 2), (0.0, 0)]
        .map(|(volts, phases)| kind.behaviour.effect(params, mode, s, &flows(&branches, volts, phases)));
    let passages = [Medium::Motion, Medium::Water, Medium::Air, Medium::Pressure]
        .map(|medium| kind.behaviour.passage(params, mode, medium));
    let sensed = kind.behaviour.sense(params, mode, s);
    Seen { branches, effects: effects.into(), sensed, passages: passages.into() }
}

/// Healthy first, then every mode.
fn states(kind: &PartKind) -> impl Iterator<Item = Option<&'static str>> {
    std::iter::once(None).chain(kind.modes.iter().map(|m| Some(m.name)))
}

#[test]
fn every_mode_shows_somewhere() {
    for kind in kind::all() {
        let full = params(kind, true);
        for mode in kind.modes {
            let by_hand = kind.checks.iter().any(|c| c.yes_in.contains(&mode.name) != c.yes_in.contains(&""));
            let by_reading = situations()
                .iter()
                .any(|s| seen(kind, &full, Some(mode.name), s) != seen(kind, &full, None, s));
            assert!(by_hand || by_reading, "{}: nothing tells \"{}\" from healthy", kind.name, mode.name);
        }
    }
}

/// Pairs of modes that no reading and no check tells apart. A belt that is off and one that is broken are found by the
/// same look, which then shows which of the two it is.
const ALIKE: &[(&str, &str, &str)] = &[("belt", "off", "broken")];

/// Two modes that nothing tells apart are one mode.
#[test]
fn every_two_modes_differ_somewhere() {
    let mut alike = Vec::new();
    for kind in kind::all() {
        let full = params(kind, true);
        for (i, a) in kind.modes.iter().enumerate() {
            for b in &kind.modes[..i] {
                let by_hand =
                    kind.checks.iter().any(|c| c.yes_in.contains(&a.name) != c.yes_in.contains(&b.name));
                let by_reading = situations()
                    .iter()
                    .any(|s| seen(kind, &full, Some(a.name), s) != seen(kind, &full, Some(b.name), s));
                if !(by_hand || by_reading || ALIKE.contains(&(kind.name, b.name, a.name))) {
                    alike.push((kind.name, b.name, a.name));
                }
            }
        }
    }
    assert_eq!(alike, []);
}

#[test]
fn branches_end_at_terminals_and_have_possible_ohms() {
    let supply = [kind::SUPPLY_LINE, kind::SUPPLY_NEUTRAL, kind::SUPPLY_EARTH, kind::CHASSIS];
    for kind in kind::all() {
        let is_end = |end: &str| supply.contains(&end) || kind.terminals.iter().any(|t| t.name == end);
        for given in [params(kind, false), params(kind, true), Params::default()] {
            for mode in states(kind) {
                for s in situations() {
                    for b in seen(kind, &given, mode, &s).branches {
                        assert!(is_end(b.from) && is_end(b.to), "{} {mode:?}: {b:?}", kind.name);
                        assert!(b.u_rel.is_finite() && b.u_rel >= 0.0, "{} {mode:?}: {b:?}", kind.name);
                        for path in [b.ac, b.dc] {
                            if let Path::Ohms { r, x } = path {
                                let possible = r.is_finite() && r >= 0.0 && x.is_finite();
                                assert!(possible, "{} {mode:?}: {b:?}", kind.name);
                            }
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn what_only_conducts_heeds_no_situation() {
    let conducting = || kind::all().iter().filter(|k| k.behaviour.only_conducts());
    assert!(conducting().any(|k| k.name == "wire"));
    for kind in conducting() {
        for given in [params(kind, false), params(kind, true)] {
            for mode in states(kind) {
                let at_first = seen(kind, &given, mode, &situations()[0]);
                assert!(at_first.effects.iter().all(|e| *e == Effect::default()), "{}", kind.name);
                for s in situations() {
                    assert_eq!(seen(kind, &given, mode, &s), at_first, "{} {mode:?}", kind.name);
                }
            }
        }
    }
}

#[test]
fn signs_are_of_the_vocabulary() {
    for kind in kind::all() {
        for given in [params(kind, false), params(kind, true)] {
            for mode in states(kind) {
                for s in situations() {
                    for sign in seen(kind, &given, mode, &s).effects.iter().flat_map(|e| &e.signs) {
                        assert!(SIGNS.contains(sign), "{} {mode:?} reports \"{sign}\"", kind.name);
                    }
                }
            }
        }
    }
}

#[test]
fn defaults_are_readable_and_leave_nothing_obligatory() {
    for kind in kind::all() {
        for p in kind.params {
            if let Some(text) = p.default {
                let read = parse_default(p.takes, text);
                assert!(read.is_ok(), "{} {}: {read:?}", kind.name, p.name);
                assert!(!p.must, "{} {}: obligatory, yet has a default", kind.name, p.name);
            }
        }
    }
}

#[test]
fn names_are_single_and_lower_case() {
    let names: BTreeSet<_> = kind::all().iter().map(|k| k.name).collect();
    assert_eq!(names.len(), kind::all().len());
    for kind in kind::all() {
        assert_eq!(kind.name, kind.name.to_lowercase());
        let modes: BTreeSet<_> = kind.modes.iter().map(|m| m.name).collect();
        assert_eq!(modes.len(), kind.modes.len(), "{}: a mode twice", kind.name);
        let checks: BTreeSet<_> = kind.checks.iter().map(|c| c.id).collect();
        assert_eq!(checks.len(), kind.checks.len(), "{}: a check twice", kind.name);
        let terminals: BTreeSet<_> = kind.terminals.iter().map(|t| t.name).collect();
        assert_eq!(terminals.len(), kind.terminals.len(), "{}: a terminal twice", kind.name);
        let keys: BTreeSet<_> = kind.params.iter().map(|p| p.name).collect();
        assert_eq!(keys.len(), kind.params.len(), "{}: a parameter twice", kind.name);
    }
}

#[test]
fn rates_and_shares_are_positive_and_say_where_from() {
    for kind in kind::all() {
        assert!(kind.rate.percent > 0.0 && kind.rate.percent < 100.0, "{}", kind.name);
        assert!(!kind.rate.source.is_empty(), "{}", kind.name);
        for mode in kind.modes {
            assert!(mode.share > 0.0 && !mode.source.is_empty(), "{} {}", kind.name, mode.name);
        }
    }
}

#[test]
fn checks_and_consequences_name_modes_that_exist() {
    for kind in kind::all() {
        for check in kind.checks {
            for mode in check.yes_in {
                assert!(mode.is_empty() || kind.mode(mode).is_some(), "{} {}: {mode}", kind.name, check.id);
            }
            assert!(!check.at_part || !check.caution.is_empty(), "{} {}: no caution", kind.name, check.id);
            assert!(check.minutes > 0.0 && (0.0..0.5).contains(&check.slip), "{} {}", kind.name, check.id);
        }
        for c in kind.consequences {
            assert!(kind.mode(c.mode).is_some(), "{}: no mode {}", kind.name, c.mode);
            assert!(c.probability > 0.0 && c.probability < 1.0 && !c.source.is_empty(), "{}", kind.name);
            let other = kind::by_name(c.kind);
            let known = other.is_some_and(|k| k.mode(c.brings).is_some());
            assert!(known, "{} {} brings {} {}, which no kind has", kind.name, c.mode, c.kind, c.brings);
        }
    }
}

proptest! {
    /// Nothing that a file could say makes a kind panic or give impossible ohms.
    #[test]
    fn any_parameters_are_survived(value in prop::num::f64::ANY, level in prop::num::f64::ANY, celsius in prop::num::f64::ANY) {
        let s = Situation { level_l: level, temperature_c: celsius, ..situations()[0] };
        for kind in kind::all() {
            let mut given = Params::default();
            for p in kind.params {
                given.set(p.name, Value::RatedAt(Toleranced::exact(value), value));
            }
            for mode in states(kind) {
                let _ = seen(kind, &given, mode, &s);
            }
        }
    }
}
