//! The safety test as it is handed over, and what may be claimed on its strength.

use crate::record::Step;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What came of a test.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// It keeps to its limit by the tester's uncertainty.
    Pass,
    /// It does not.
    Fail,
    /// Too close to the limit to tell.
    Unsure,
    /// It was not done, or may not count.
    #[default]
    Open,
}

/// A test of the electrical safety after the repair.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SafetyRow {
    /// The trade's name of the test.
    pub test: String,
    /// The limit with its unit: `at most 0.3 Ω`; empty: it is looked at, not measured.
    pub limit: String,
    /// Clause and source of the limit.
    pub source: String,
    /// What was read, with its unit; empty: nothing.
    pub reading: String,
    /// What it comes to.
    pub verdict: Verdict,
}

/// The electrical safety test and the machine's own re-test.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Proof {
    /// Whose limits were used.
    pub standard: String,
    /// The instrument.
    pub tester: String,
    /// How its calibration stands, in words.
    pub calibration: String,
    /// Day of the test.
    pub on: Option<Date>,
    /// When the next test is due; none: not set.
    pub next_due: Option<Date>,
    /// The tests that apply, in their order.
    pub rows: Vec<SafetyRow>,
    /// Steps of the machine's own test that the repair touches.
    pub retest: Vec<Step>,
    /// Whoever judged the tests found the machine fit to hand back: order, calibration and re-test included.
    pub fit: bool,
    /// What else must be known: limits from memory, calibration, readings that were not counted.
    pub remarks: Vec<String>,
    /// Why the machine is handed over although it was not tested in full; empty: no reason stands.
    pub reason: String,
}

/// What may be said of the machine's safety.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Claim {
    /// Every test that applies passed.
    Passed,
    /// A test failed.
    Failed,
    /// Not shown; handed over all the same for a written reason.
    Reason(String),
    /// Not shown, and no reason is given.
    NotShown,
}

impl Proof {
    /// What the rows bear out. A failed test outweighs any reason; without a single row nothing has passed.
    pub fn claim(&self) -> Claim {
        let any = |v: Verdict| self.rows.iter().any(|r| r.verdict == v);
        if any(Verdict::Fail) {
            Claim::Failed
        } else if !self.rows.is_empty() && self.rows.iter().all(|r| r.verdict == Verdict::Pass) && self.fit {
            Claim::Passed
        } else if self.reason.trim().is_empty() {
            Claim::NotShown
        } else {
            Claim::Reason(self.reason.trim().to_owned())
        }
    }
}

impl Claim {
    /// The claim of a job, tested or not.
    pub fn of(proof: Option<&Proof>) -> Claim {
        proof.map_or(Claim::NotShown, Proof::claim)
    }

    /// In one sentence.
    pub fn says(&self) -> String {
        match self {
            Claim::Passed => {
                "Passed. Every safety test that applies was done after the repair, and passed.".to_owned()
            }
            Claim::Failed => "Failed. A safety test failed: do not use the machine; it stays unplugged and labelled.".to_owned(),
            Claim::Reason(why) => {
                format!("Not shown to be safe. The safety test is not complete. Reason written down: {why}")
            }
            Claim::NotShown => {
                "Not shown to be safe. No complete safety test stands behind this record: do not use the machine before it is tested.".to_owned()
            }
        }
    }

    /// In a word or three, for a label.
    pub fn short(&self) -> &'static str {
        match self {
            Claim::Passed => "SAFETY TEST PASSED",
            Claim::Failed => "FAILED - DO NOT USE",
            Claim::Reason(_) | Claim::NotShown => "NOT SHOWN TO BE SAFE",
        }
    }
}

impl Verdict {
    /// In a word; what has not passed stands in capitals, as in the rest of the program.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Fail => "FAIL",
            Verdict::Unsure => "UNSURE",
            Verdict::Open => "NOT DONE",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Claim, Proof, SafetyRow, Verdict};

    fn proof(verdicts: &[Verdict], fit: bool, reason: &str) -> Proof {
        let rows = verdicts.iter().map(|&verdict| SafetyRow { verdict, ..SafetyRow::default() }).collect();
        Proof { rows, fit, reason: reason.to_owned(), ..Proof::default() }
    }

    #[test]
    fn safe_is_said_only_when_all_passed() {
        use Verdict::{Fail, Open, Pass, Unsure};
        let why = Claim::Reason("no supply in the house".to_owned());
        for (verdicts, fit, reason, claim) in [
            (&[Pass, Pass][..], true, "", Claim::Passed),
            (&[Pass, Pass], false, "", Claim::NotShown),
            (&[], true, "", Claim::NotShown),
            (&[Pass, Open], true, "", Claim::NotShown),
            (&[Pass, Unsure], true, " ", Claim::NotShown),
            (&[Pass, Open], true, " no supply in the house ", why),
            (&[Pass, Fail], true, "it was late", Claim::Failed),
        ] {
            assert_eq!(proof(verdicts, fit, reason).claim(), claim);
        }
        assert_eq!(Claim::of(None), Claim::NotShown);
    }
}
