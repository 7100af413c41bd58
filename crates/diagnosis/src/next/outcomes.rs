//! What a check would show under each suspect, sorted into outcomes that can be told apart.

use crate::belief::{Case, Predictions};
use crate::check::{Check, CheckKind, Instrument};
use crate::setup::Setup;
use bench::{Estimate, Hypothesis, Ohms, Prediction};
use machine::model::{CodeId, Machine, PartId};

/// Chance that a measurement shows something else than it should. Common practice, no source.
const MEASURE_SLIP: f64 = 0.02;

/// Chance that a step's look misleads. Common practice, no source.
const LOOK_SLIP: f64 = 0.04;

/// Readings closer than this many joint standard uncertainties are one outcome.
const TOLD_APART_FROM: f64 = 4.0;

/// Least joint uncertainty, in proportion: readings within some per cent are never told apart.
const LEAST_U: f64 = 0.02;

/// What a check would show.
#[derive(Clone, Debug)]
pub(crate) struct Outcomes {
    /// `rows[k][s]`: probability of outcome k under suspect s.
    pub(crate) rows: Vec<Vec<f64>>,
    /// What each suspect would show, in words.
    pub(crate) words: Vec<String>,
}

/// What a suspect would show, before outcomes are told apart.
pub(crate) struct Shown {
    /// Sorts; infinite for over-range.
    pub(crate) value: f64,
    pub(crate) u: f64,
    /// What else is seen, exactly told apart.
    pub(crate) seen: Vec<&'static str>,
    pub(crate) code: Option<CodeId>,
    words: String,
}

/// Works out the outcomes of a check under suspects; none where it tells nothing apart.
///
/// `again`: it is a step that was run already. Signs that a sound machine does not show would have been said then, or will not
/// be said now: that they are not there is not told, so they tell nothing apart.
pub(crate) fn outcomes(
    machine: &Machine,
    setup: &Setup,
    predictions: &mut Predictions<'_>,
    check: &Check,
    suspects: &[Case],
    again: bool,
) -> Option<Outcomes> {
    if check.kind == CheckKind::Observation {
        return answers(machine, check, suspects);
    }
    if let (CheckKind::Swap, Some(part)) = (check.kind, check.id.strip_prefix("swap ")) {
        return tried(predictions, machine.part(part)?, suspects);
    }
    let mut always = Vec::with_capacity(suspects.len());
    for case in suspects {
        always.push(shown(machine, setup, predictions, check, &case.shown(machine))?);
    }
    let sound = suspects.iter().position(|c| c.faults.faults().is_empty());
    if again && let Some(sound) = sound {
        let usual = always[sound].seen.clone();
        for shown in &mut always {
            shown.seen.retain(|sign| usual.contains(sign));
        }
    }
    let class = classes(&always);
    let count = class.iter().max().map_or(0, |c| c + 1);
    if count < 2 {
        return None;
    }
    let slip = if check.step.is_some() { LOOK_SLIP } else { MEASURE_SLIP };
    let mut rows = vec![vec![slip / count as f64; suspects.len()]; count];
    for (s, &own) in class.iter().enumerate() {
        // What shows only sometimes reads like a sound machine the other times.
        let hides = match sound {
            Some(sound) if !suspects[s].sometimes.is_empty() => Some(class[sound]),
            _ => None,
        };
        let shows = if hides.is_some() { 0.5 } else { 1.0 };
        rows[own][s] += (1.0 - slip) * shows;
        if let Some(sound) = hides {
            rows[sound][s] += (1.0 - slip) * (1.0 - shows);
        }
    }
    Some(Outcomes { rows, words: always.into_iter().map(|s| s.words).collect() })
}

/// Yes or no.
fn answers(machine: &Machine, check: &Check, suspects: &[Case]) -> Option<Outcomes> {
    let mut yes = Vec::with_capacity(suspects.len());
    for case in suspects {
        yes.push(crate::belief::says_yes(machine, &check.id, &case.faults)?);
    }
    two_ways(yes, ["yes", "no"])
}

/// The first of two outcomes has this probability under each suspect; none where it is much the same under all.
fn two_ways(first: Vec<f64>, names: [&str; 2]) -> Option<Outcomes> {
    let (least, most) = first.iter().fold((1.0_f64, 0.0_f64), |(l, m), p| (l.min(*p), m.max(*p)));
    if most - least < 0.1 {
        return None;
    }
    let words = first.iter().map(|p| names[usize::from(*p <= 0.5)].to_owned()).collect();
    let second = first.iter().map(|p| 1.0 - p).collect();
    Some(Outcomes { rows: vec![first, second], words })
}

/// Does the machine work with a known-good part?
fn tried(predictions: &mut Predictions<'_>, part: PartId, suspects: &[Case]) -> Option<Outcomes> {
    let mut works = Vec::with_capacity(suspects.len());
    for case in suspects {
        works.push(crate::belief::works_without(predictions, case, part));
    }
    two_ways(works, ["works", "still fails"])
}

pub(crate) fn shown(
    machine: &Machine,
    setup: &Setup,
    predictions: &mut Predictions<'_>,
    check: &Check,
    faults: &Hypothesis,
) -> Option<Shown> {
    if let (CheckKind::Voltage, Some(points), Some(step)) = (check.kind, &check.between, check.step) {
        let e = predictions.volts(points, step, faults)?;
        let u = e.u.hypot(setup.owns(check.instrument)?.relative * e.value).hypot(1.0);
        let words = format!("{:.0} V", e.value);
        return Some(Shown { value: e.value, u, seen: Vec::new(), code: None, words });
    }
    if let Some(step) = check.step {
        return Some(of_step(machine, setup, predictions.step(faults, step)));
    }
    let points = check.between.as_ref()?;
    let owned = setup.owns(check.instrument)?;
    Some(match predictions.between(points, &check.unplugged, faults)? {
        Ohms::Open => {
            Shown { value: f64::INFINITY, u: 0.0, seen: Vec::new(), code: None, words: "OL".to_owned() }
        }
        Ohms::Ohms { value, u } => {
            let u = u.hypot(owned.relative * value).hypot(owned.absolute);
            Shown { value, u, seen: Vec::new(), code: None, words: ohm_words(value, u) }
        }
    })
}

/// Ohms in words, with their spread.
pub(crate) fn ohm_words(value: f64, u: f64) -> String {
    if value < 1.0 {
        return "near 0 Ω".to_owned();
    }
    quantity::format_pm(value, 2.0 * u, quantity::Dimension::Resistance)
}

fn of_step(machine: &Machine, setup: &Setup, p: &Prediction) -> Shown {
    let mut words = watt_words(p.power_w);
    let mut seen = p.signs.clone();
    if p.timed_out {
        seen.push("does not end in time");
    }
    if setup.owns(Instrument::Tachometer).is_some() && p.speed_rpm.value.abs() > 5.0 {
        words.push_str(&format!(", {:.0} rpm", p.speed_rpm.value.abs()));
    }
    if !seen.is_empty() {
        words = format!("{words}, {}", seen.join(", "));
    }
    let code = p.code.filter(|_| p.code_shown);
    if let Some(code) = code {
        words = format!("{words}, code {}", machine.codes[code].id);
    }
    Shown { value: p.power_w.value, u: p.power_w.u.hypot(1.0), seen, code, words }
}

/// Watts in words, with their spread.
pub(crate) fn watt_words(e: Estimate) -> String {
    if e.value < 1.0 {
        return format!("{:.1} W", e.value);
    }
    quantity::format_pm(e.value, 2.0 * e.u, quantity::Dimension::Power)
}

/// The class of each: equal where neither value nor anything seen tells them apart. Values are chained: what lies close
/// to a member of a class is in it.
fn classes(all: &[Shown]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by(|&a, &b| {
        let key = |s: &Shown| (s.seen.clone(), s.code);
        key(&all[a]).cmp(&key(&all[b])).then(all[a].value.total_cmp(&all[b].value))
    });
    let mut class = vec![0; all.len()];
    let mut current = 0;
    for pair in order.windows(2) {
        let (a, b) = (&all[pair[0]], &all[pair[1]]);
        let together = a.seen == b.seen && a.code == b.code && close(a, b);
        if !together {
            current += 1;
        }
        class[pair[1]] = current;
    }
    class
}

fn close(a: &Shown, b: &Shown) -> bool {
    if a.value.is_infinite() || b.value.is_infinite() {
        return a.value == b.value;
    }
    let u = a.u.hypot(b.u).max(LEAST_U * a.value.abs().max(b.value.abs()));
    (a.value - b.value).abs() <= TOLD_APART_FROM * u
}
