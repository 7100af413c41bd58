//! What [`crate::find()`] says: verdicts on the steps, suspects, conflicts, the next check.

use crate::belief::Case;
use crate::check::Check;
use bench::{Estimate, Hypothesis};

/// More than this left out: nothing is sure.
pub const LEFT_OUT_AT_MOST: f64 = 0.1;

/// The answer.
///
/// Probabilities are shares of all that was looked at: suspects, healthy and others make 1. No true one is greater, and each is
/// smaller by at most `left_out` of it; as a rule by far less, since that is a bound. [`crate::belief::Beliefs`] has what is certain.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Each step of the service test, in order.
    pub steps: Vec<StepVerdict>,
    /// Suspects with their probability, likeliest first; healthy is not among them. Cut off where the rest is listed
    /// in `others`.
    pub suspects: Vec<Suspect>,
    /// Probability that nothing is wrong with the machine.
    pub healthy: f64,
    /// Why that is as likely as it is.
    pub healthy_reason: String,
    /// Probability of all suspects too unlikely to be listed.
    pub others: f64,
    /// Most that all hypotheses never made can have together, as a share of everything.
    pub left_out: f64,
    /// Entries that fit no suspect.
    pub conflicts: Vec<Conflict>,
    /// What to do next, best first; the first one is the advice.
    pub next: Vec<Next>,
    /// Set when the advice is to mend (or to hand back), and that is at least [`crate::setup::Setup::sure_from`] probable whatever
    /// was left out.
    pub sure: Option<Sure>,
    /// Expected minutes (money as minutes) until the machine is right, if all goes by the advice: no plan takes less
    /// than the first, the advice takes no more than the second.
    pub minutes_left: Option<(f64, f64)>,
}

/// A set of faults that could explain the evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// The faults.
    pub faults: Hypothesis,
    /// Some of them show only sometimes (places in `faults`).
    pub sometimes: Vec<usize>,
    /// Probability.
    pub probability: f64,
    /// What it explains and what it does not, in one line.
    pub reason: String,
}

/// How a step turned out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within what it should read.
    AsExpected,
    /// Below it.
    Low,
    /// Above it.
    High,
    /// Nothing where something should be.
    Nothing,
    /// Cannot be told from what was measured.
    Unsure,
    /// Nothing was measured or seen in it.
    NotDone,
}

/// A step: what it should read, what it read.
#[derive(Clone, Debug, PartialEq)]
pub struct StepVerdict {
    /// Place in the service test.
    pub step: usize,
    /// Where it lies in the trace, s.
    pub start_s: Option<f64>,
    /// Its end in the trace, s.
    pub end_s: Option<f64>,
    /// What the healthy machine draws, W.
    pub expected_w: Estimate,
    /// What was measured, W.
    pub measured_w: Option<Estimate>,
    /// How it turned out.
    pub verdict: Verdict,
    /// The comparison in words.
    pub why: String,
}

/// An entry that fits no suspect.
#[derive(Clone, Debug, PartialEq)]
pub struct Conflict {
    /// Place among the entries; none for the trace.
    pub entry: Option<usize>,
    /// What to do: "this reading fits no suspect: take it again".
    pub says: String,
}

/// Something to do next.
#[derive(Clone, Debug, PartialEq)]
pub struct Next {
    /// A check, or a repair.
    pub action: Action,
    /// What each of the leading suspects would give, healthy included.
    pub reads: Vec<(Case, String)>,
    /// Least expected minutes left if this comes first.
    pub lower: f64,
    /// Expected minutes left if this comes first and all goes on by the advice.
    pub upper: f64,
    /// Why it stands where it stands.
    pub why: String,
}

/// What can be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Find out.
    Check(Check),
    /// Mend: this part.
    Mend {
        /// The part.
        part: machine::model::PartId,
        /// What to do: "fit a new heating element".
        says: String,
        /// Minutes, access not counted.
        minutes: f64,
        /// Panels that must be off.
        access: Vec<machine::model::PanelId>,
        /// What could hurt.
        caution: String,
    },
    /// Nothing is wrong with the machine: show the customer that it works.
    HandBack {
        /// What to look at: tap, load, programme.
        says: String,
        /// Minutes of the run that proves it.
        minutes: f64,
        /// What could hurt.
        caution: String,
    },
}

/// One suspect is sure enough.
#[derive(Clone, Debug, PartialEq)]
pub struct Sure {
    /// The faults; empty: healthy.
    pub faults: Hypothesis,
    /// Its probability.
    pub probability: f64,
    /// "The heating element is open (97 %)."
    pub says: String,
}
