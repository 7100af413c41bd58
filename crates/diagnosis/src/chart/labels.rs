//! Which readings lead where.

use crate::belief::Belief;
use crate::check::CheckKind;
use crate::next::Candidate;
use crate::next::outcomes::{self, Shown};
use crate::next::troubles::Troubles;
use machine::model::CodeId;
use quantity::{Dimension, format};

/// Readings within so many standard uncertainties of what is predicted lead the same way.
const WIDE: f64 = 2.0;

/// Outcomes rarer than this are slips of hand or eye.
const SLIP: f64 = 0.01;

/// What was read or seen.
#[derive(Clone, Debug, PartialEq)]
pub enum Label {
    /// A question answered.
    Answer(bool),
    /// Readings.
    Reads(Vec<Reads>),
    /// After a repair: does the machine work?
    Works(bool),
    /// Anything that no other branch names.
    Else,
}

/// One range of readings, and what goes with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reads {
    /// Least, in the base unit.
    pub low: f64,
    /// Most; infinite with `low` for over-range.
    pub high: f64,
    /// What it is.
    pub dimension: Dimension,
    /// What is seen here and not under every other branch.
    pub seen: Vec<&'static str>,
    /// What a healthy machine would show, and is not seen here.
    pub not_seen: Vec<&'static str>,
    /// What is odd under other branches, and is not seen here.
    pub free_of: Vec<&'static str>,
    /// The code that is shown.
    pub code: Option<String>,
    /// No code is shown, and other branches show one.
    pub no_code: bool,
}

impl Label {
    /// "yes", "26 … 29 Ω", "OL", "31 … 36 W, drum turns".
    pub fn says(&self) -> String {
        match self {
            Label::Answer(true) => "yes".to_owned(),
            Label::Answer(false) => "no".to_owned(),
            Label::Works(true) => "the machine works".to_owned(),
            Label::Works(false) => "not cured".to_owned(),
            Label::Else => "anything else".to_owned(),
            Label::Reads(all) => all.iter().map(Reads::says).collect::<Vec<_>>().join(", or "),
        }
    }
}

impl Reads {
    fn says(&self) -> String {
        let mut all = vec![self.range()];
        all.extend(self.seen.iter().map(|s| (*s).to_owned()));
        all.extend(self.not_seen.iter().map(|s| format!("not: {s}")));
        match self.free_of[..] {
            [] => {}
            [one] => all.push(format!("not: {one}")),
            [..] => all.push("nothing else odd".to_owned()),
        }
        if self.no_code {
            all.push("no code".to_owned());
        }
        all.extend(self.code.iter().map(|c| format!("code {c}")));
        all.join(", ")
    }

    fn range(&self) -> String {
        if self.low.is_infinite() {
            return "OL".to_owned();
        }
        if self.dimension == Dimension::Resistance && self.high < 2.0 {
            return "near 0 Ω".to_owned();
        }
        let (low, high) = rounded(self.low.max(0.0), self.high);
        let (low, high) = (format(low, self.dimension), format(high, self.dimension));
        // One unit for both where it is the same.
        match (low.rsplit_once('\u{a0}').or_else(|| low.rsplit_once(' ')), high.rsplit_once(' ')) {
            _ if low == high => high,
            (Some((number, unit)), Some((_, other))) if unit == other => format!("{number} … {high}"),
            _ => format!("{low} … {high}"),
        }
    }
}

/// Outwards, to what one can tell apart: the last figure kept is worth at most a fifth of the width.
fn rounded(low: f64, high: f64) -> (f64, f64) {
    let width = (high - low).max(0.02 * high.abs()).max(f64::MIN_POSITIVE);
    let step = 10_f64.powf((width / 5.0).log10().floor());
    if !step.is_finite() || step <= 0.0 {
        return (low, high);
    }
    // Steps below one are dealt with by division, which is exact where multiplication is not.
    let inverse = (1.0 / step).round();
    if step < 1.0 {
        ((low * inverse).floor() / inverse, (high * inverse).ceil() / inverse)
    } else {
        ((low / step).floor() * step, (high / step).ceil() * step)
    }
}

/// The label of one outcome of a check, where the suspects have these probabilities.
pub(crate) fn label_of(
    machine: &Belief<'_>,
    troubles: &Troubles,
    candidate: &Candidate,
    outcome: usize,
    belief: &[f64],
) -> Label {
    let check = &candidate.check;
    if check.kind == CheckKind::Observation {
        return Label::Answer(outcome == 0);
    }
    let (known, machine, setup) = (machine, machine.machine(), machine.setup());
    let show = |outcome: usize| -> Vec<Shown> {
        let behind = behind(troubles, candidate, outcome, belief);
        let cases = behind.iter().map(|s| &troubles.cases[*s].faults);
        known.with_predictions(|p| {
            cases.filter_map(|faults| outcomes::shown(machine, setup, p, check, faults)).collect()
        })
    };
    let own = show(outcome);
    if own.is_empty() {
        return Label::Else;
    }
    let own = reads(&own);
    // What only a slip can bring here is not worth telling apart from.
    let likely = |k: usize| {
        let row = &candidate.outcomes.rows[k];
        row.iter().zip(belief).map(|(r, p)| r * p).sum::<f64>() >= SLIP
    };
    let others: Vec<Range> = (0..candidate.outcomes.rows.len())
        .filter(|k| *k != outcome && likely(*k))
        .map(show)
        .filter(|o| !o.is_empty())
        .map(|o| reads(&o))
        .collect();
    let (seen, missing) = telling(&own, &others);
    let healthy = known
        .with_predictions(|p| outcomes::shown(machine, setup, p, check, &bench::Hypothesis::healthy()))
        .map_or(Vec::new(), |shown| shown.seen);
    let (not_seen, free_of) = missing.into_iter().partition(|s| healthy.contains(s));
    let dimension = match check.kind {
        CheckKind::Voltage => Dimension::Voltage,
        _ if check.step.is_some() => Dimension::Power,
        _ => Dimension::Resistance,
    };
    let no_code = own.code.is_none() && others.iter().any(|o| o.code.is_some() && own.overlaps(o));
    let code = own.code.map(|c| machine.codes[c].id.clone());
    Label::Reads(vec![Reads {
        low: own.low,
        high: own.high,
        dimension,
        seen,
        not_seen,
        free_of,
        code,
        no_code,
    }])
}

/// Suspects that stand for an outcome at this belief; of one that only a slip can bring, those that would bring it
/// otherwise. What shows only sometimes stands for an outcome that nothing else brings.
fn behind(troubles: &Troubles, candidate: &Candidate, outcome: usize, belief: &[f64]) -> Vec<usize> {
    let row = &candidate.outcomes.rows[outcome];
    let lasting = |s: &usize| troubles.cases[*s].sometimes.is_empty();
    let mut all: Vec<usize> = (0..row.len()).filter(|s| row[*s] > 0.4).collect();
    if all.iter().any(lasting) {
        all.retain(lasting);
    }
    let likely: Vec<usize> = all.iter().copied().filter(|s| row[*s] * belief[*s] > 1e-4).collect();
    if likely.is_empty() { all } else { likely }
}

/// All that an outcome shows.
struct Range {
    low: f64,
    high: f64,
    seen: Vec<&'static str>,
    code: Option<CodeId>,
}

impl Range {
    fn overlaps(&self, other: &Range) -> bool {
        self.low <= other.high && other.low <= self.high
    }
}

fn reads(shown: &[Shown]) -> Range {
    Range {
        low: shown.iter().map(|s| s.value - WIDE * s.u).fold(f64::INFINITY, f64::min),
        high: shown.iter().map(|s| s.value + WIDE * s.u).fold(f64::NEG_INFINITY, f64::max),
        seen: shown.first().map_or(Vec::new(), |s| s.seen.clone()),
        code: shown.first().and_then(|s| s.code),
    }
}

/// The fewest signs, seen and not seen, that tell an outcome from the others which its reading and code do not tell it
/// from: the sign that tells it from most first (the greedy cover of Chvátal 1979).
fn telling(own: &Range, others: &[Range]) -> (Vec<&'static str>, Vec<&'static str>) {
    let alike = |o: &&Range| o.code == own.code && own.overlaps(o);
    let mut left: Vec<&Range> = others.iter().filter(alike).collect();
    let (mut seen, mut not_seen) = (Vec::new(), Vec::new());
    while !left.is_empty() {
        let mut signs: Vec<(&'static str, bool)> = own.seen.iter().map(|s| (*s, true)).collect();
        for sign in left.iter().flat_map(|o| o.seen.iter()) {
            if !own.seen.contains(sign) && !signs.contains(&(*sign, false)) {
                signs.push((sign, false));
            }
        }
        let told = |(sign, is_seen): &(&'static str, bool)| {
            left.iter().filter(|o| o.seen.contains(sign) != *is_seen).count()
        };
        // What is seen is easier to be sure of than what is missing; of equal ones the last, which is the oddest.
        let best = signs.iter().max_by_key(|s| (told(s), s.1)).copied();
        let Some((sign, is_seen)) = best.filter(|s| told(s) > 0) else { break };
        left.retain(|o| o.seen.contains(&sign) == is_seen);
        if is_seen { seen.push(sign) } else { not_seen.push(sign) }
    }
    (seen, not_seen)
}

#[cfg(test)]
mod tests {
    use super::{Label, Reads, rounded};
    use quantity::Dimension;

    #[test]
    fn ranges_are_rounded_outwards() {
        assert_eq!(rounded(31.234, 36.9), (31.0, 37.0));
        assert_eq!(rounded(1727.0, 2046.0), (1720.0, 2050.0));
        let reads = |low, high| Reads {
            low,
            high,
            dimension: Dimension::Resistance,
            seen: Vec::new(),
            not_seen: Vec::new(),
            free_of: Vec::new(),
            code: None,
            no_code: false,
        };
        assert_eq!(reads(f64::INFINITY, f64::INFINITY).says(), "OL");
        assert_eq!(reads(0.0, 0.6).says(), "near 0 Ω");
        assert_eq!(reads(23.71, 29.02).says(), "23 … 30 Ω");
        assert_eq!(
            Label::Reads(vec![reads(0.0, 0.1), reads(f64::INFINITY, f64::INFINITY)]).says(),
            "near 0 Ω, or OL"
        );
    }
}
