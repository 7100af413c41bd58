//! Which readings lead where.

use super::grow::Grower;
use crate::check::CheckKind;
use crate::next::Candidate;
use crate::next::outcomes::{self, Shown};
use machine::model::Machine;
use quantity::{Dimension, format};

/// Readings within so many standard uncertainties of what is predicted lead the same way.
const WIDE: f64 = 2.0;

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
    /// What is not seen here but under other branches.
    pub not_seen: Vec<&'static str>,
    /// The code that is shown.
    pub code: Option<String>,
}

impl Label {
    /// "yes", "26 … 29 Ω", "OL", "31 … 36 W, drum turns".
    pub fn says(&self) -> String {
        match self {
            Label::Answer(true) => "yes".to_owned(),
            Label::Answer(false) => "no".to_owned(),
            Label::Works(true) => "the machine works".to_owned(),
            Label::Works(false) => "no change".to_owned(),
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

/// The label of one outcome of a check at this belief.
pub(super) fn label(grower: &Grower<'_, '_>, candidate: &Candidate, outcome: usize, belief: &[f64]) -> Label {
    let check = &candidate.check;
    if check.kind == CheckKind::Observation {
        return Label::Answer(outcome == 0);
    }
    let machine = grower.belief.machine();
    let setup = grower.belief.setup();
    let show = |outcome: usize| -> Vec<Shown> {
        let behind = grower.behind(candidate, outcome, belief);
        let cases = behind.iter().map(|(s, _)| &grower.troubles.cases[*s].faults);
        grower.belief.with_predictions(|p| {
            cases.filter_map(|faults| outcomes::shown(machine, setup, p, check, faults)).collect()
        })
    };
    let own = show(outcome);
    let Some(first) = own.first() else { return Label::Else };
    // What tells this outcome from the others, seen or not seen; what all have in common is not worth a word.
    let others: Vec<Shown> =
        (0..candidate.outcomes.rows.len()).filter(|k| *k != outcome).flat_map(show).collect();
    let in_some = |sign: &&'static str| others.iter().any(|o| o.seen.contains(sign));
    let in_all = |sign: &&'static str| others.iter().all(|o| o.seen.contains(sign));
    let seen = first.seen.iter().copied().filter(|s| !in_all(s)).collect();
    let mut not_seen: Vec<&'static str> = Vec::new();
    for sign in others.iter().flat_map(|o| o.seen.iter()) {
        let normal = healthy_shows(grower, candidate, sign);
        if normal && in_some(&sign) && !first.seen.contains(sign) && !not_seen.contains(sign) {
            not_seen.push(sign);
        }
    }
    let dimension = if check.step.is_some() { Dimension::Power } else { Dimension::Resistance };
    let low = own.iter().map(|s| s.value - WIDE * s.u).fold(f64::INFINITY, f64::min);
    let high = own.iter().map(|s| s.value + WIDE * s.u).fold(f64::NEG_INFINITY, f64::max);
    Label::Reads(vec![Reads { low, high, dimension, seen, not_seen, code: code(machine, first) }])
}

/// Is the sign one of the healthy machine's in this check? Only what should be there is missed.
fn healthy_shows(grower: &Grower<'_, '_>, candidate: &Candidate, sign: &str) -> bool {
    let (machine, setup) = (grower.belief.machine(), grower.belief.setup());
    grower
        .belief
        .with_predictions(|p| {
            outcomes::shown(machine, setup, p, &candidate.check, &bench::Hypothesis::healthy())
        })
        .is_some_and(|shown| shown.seen.contains(&sign))
}

fn code(machine: &Machine, shown: &Shown) -> Option<String> {
    shown.code.map(|c| machine.codes[c].id.clone())
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
            code: None,
        };
        assert_eq!(reads(f64::INFINITY, f64::INFINITY).says(), "OL");
        assert_eq!(reads(0.0, 0.6).says(), "near 0 Ω");
        assert_eq!(reads(23.71, 29.02).says(), "23 … 30 Ω");
        assert_eq!(Label::Reads(vec![reads(0.0, 0.1), reads(f64::INFINITY, f64::INFINITY)]).says(), "near 0 Ω, or OL");
    }
}
