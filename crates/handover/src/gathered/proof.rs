//! The safety test.

use crate::proof::{Proof, SafetyRow, Verdict};
use crate::record::Step;
use quantity::{Dimension, conformity, format_pm};
use safety::retest::Retested;
use safety::{Calibrated, Conclusion, Item, Judged, Keep, Limit, Report, Shown, State, WhyNot};

impl Proof {
    /// As it was judged. Day, next day and reason stand in no report: the caller adds them. `tester`: its name.
    pub fn of(report: &Report, tester: &str) -> Proof {
        let calibration = match report.calibrated {
            Calibrated::Until(day) => format!("holds until {day}"),
            Calibrated::RanOut(day) => format!("RAN OUT on {day}"),
            Calibrated::Impossible => "DATES CANNOT BE RIGHT".to_owned(),
            Calibrated::NotStated => "not stated".to_owned(),
        };
        let retest = report.retest.iter().map(|r| {
            let (read, verdict) = match &r.state {
                Retested::Done { measured_w, verdict, .. } => {
                    let read =
                        measured_w.map_or("watched".to_owned(), |w| quantity::format(w, Dimension::Power));
                    (read, of(Some(*verdict)))
                }
                Retested::Open | Retested::Blocked(_) => (String::new(), Verdict::Open),
            };
            let expected = format_pm(r.expected_w.value, 2.0 * r.expected_w.u, Dimension::Power);
            Step { step: r.step.clone(), expected, read, verdict: verdict.word().to_owned() }
        });
        let mut remarks = vec![report.says.clone()];
        remarks.extend(report.remarks.iter().cloned());
        let skipped = report.skipped.iter().map(|s| match s.why {
            WhyNot::DoesNotApply(why) => format!("Not needed: {} ({why}).", s.test.name()),
            WhyNot::NoLimitKnown => format!("NOT JUDGED: {} (its limit is not known here).", s.test.name()),
        });
        remarks.extend(skipped);
        Proof {
            standard: format!("{}, {}", report.standard.name, report.standard.edition),
            tester: tester.to_owned(),
            calibration,
            rows: report.items.iter().map(row).collect(),
            retest: retest.collect(),
            fit: report.conclusion == Conclusion::FitToHandBack,
            remarks,
            ..Proof::default()
        }
    }
}

fn row(item: &Item) -> SafetyRow {
    let reading = match &item.state {
        State::Done { judged, .. } => judged.iter().map(shown).collect::<Vec<_>>().join("; "),
        State::Open => String::new(),
        State::Blocked { not_counted, .. } if not_counted.is_empty() => String::new(),
        State::Blocked { .. } => "not counted".to_owned(),
    };
    SafetyRow {
        test: item.test.name().to_owned(),
        limit: item.limit.as_ref().map_or(String::new(), limit),
        source: item.limit.as_ref().map_or(String::new(), source),
        reading,
        verdict: of(item.verdict()),
    }
}

fn limit(limit: &Limit) -> String {
    let keep = match limit.keep {
        Keep::AtMost => "at most",
        Keep::AtLeast => "at least",
    };
    format!("{keep} {}", limit.test.written(limit.value))
}

fn source(limit: &Limit) -> String {
    let memory = if limit.from_memory { "; from memory" } else { "" };
    format!("{}: {}; {}{memory}", limit.clause, limit.says, limit.source)
}

fn shown(judged: &Judged) -> String {
    let test = judged.reading.test;
    match judged.reading.shown {
        Shown::Value(v) => format!("{} ± {}", test.written(v.value), test.written(judged.expanded_u)),
        Shown::Above(v) => format!("> {}", test.written(v)),
        Shown::Below(v) => format!("< {}", test.written(v)),
        Shown::OverRange => "over range".to_owned(),
        Shown::Good(true) => "good".to_owned(),
        Shown::Good(false) => "not good".to_owned(),
    }
}

fn of(verdict: Option<conformity::Verdict>) -> Verdict {
    match verdict {
        Some(conformity::Verdict::Pass) => Verdict::Pass,
        Some(conformity::Verdict::Fail) => Verdict::Fail,
        Some(conformity::Verdict::Unsure) => Verdict::Unsure,
        None => Verdict::Open,
    }
}
