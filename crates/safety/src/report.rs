//! What came of the tests.

use crate::advice::Meaning;
use crate::limits::{Limit, Standard};
use crate::plan::{Skipped, not_judged};
use crate::reading::Reading;
use crate::retest::{Retest, Retested};
use crate::test::Test;
use crate::tester::Calibrated;
use quantity::conformity::Verdict;

/// A reading held against its limit, with the numbers behind the verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// What was read.
    pub reading: Reading,
    /// Expanded uncertainty (k = 2), Ω or A; the guard band is as wide.
    pub expanded_u: f64,
    /// The limit drawn in by the guard band: a reading up to here (or from here) passes. Ω or A; 0 or less: none does.
    pub accepted: Option<f64>,
    /// Probability that the true value keeps to the limit (JCGM 106, 7.2, normal, no knowledge from before); of a bound,
    /// the least it can be.
    pub probability: Option<f64>,
    /// What it comes to.
    pub verdict: Verdict,
    /// The comparison in words.
    pub why: String,
}

/// How a test stands.
#[derive(Clone, Debug, PartialEq)]
pub enum State {
    /// Done and judged; the worst reading counts.
    Done {
        /// The worst of the verdicts.
        verdict: Verdict,
        /// Each reading.
        judged: Vec<Judged>,
    },
    /// Still to do.
    Open,
    /// Not to be done yet: these must have passed before. A reading taken all the same is not counted.
    Blocked {
        /// The tests that have not passed.
        by: Vec<Test>,
        /// Readings that were given all the same.
        not_counted: Vec<Reading>,
    },
}

/// A test with what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// The test.
    pub test: Test,
    /// What to do, and what could hurt.
    pub instruction: crate::Instruction,
    /// Its limit, where it is a measurement.
    pub limit: Option<Limit>,
    /// How it stands.
    pub state: State,
    /// What it means where it has not passed, and what to look for.
    pub meaning: Option<Meaning>,
}

impl Item {
    /// The verdict, where it was done.
    pub fn verdict(&self) -> Option<Verdict> {
        match self.state {
            State::Done { verdict, .. } => Some(verdict),
            State::Open | State::Blocked { .. } => None,
        }
    }

    /// It was done and passed.
    pub fn passed(&self) -> bool {
        self.verdict() == Some(Verdict::Pass)
    }
}

/// What all tests together say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conclusion {
    /// All that apply have passed.
    FitToHandBack,
    /// Something failed: the machine stays unplugged and labelled.
    NotFit,
    /// Nothing failed, but something is open, unsure, not counted, or of a limit that is not known here.
    NotShown,
}

/// The whole test after a repair.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// The standard whose limits were used.
    pub standard: &'static Standard,
    /// The tests that apply, in order.
    pub items: Vec<Item>,
    /// The tests that do not, or whose limit is not known.
    pub skipped: Vec<Skipped>,
    /// The machine's own re-test, step by step; empty where no fitted part was named.
    pub retest: Vec<Retest>,
    /// Whether the tester's calibration held.
    pub calibrated: Calibrated,
    /// What it all comes to.
    pub conclusion: Conclusion,
    /// Why, in one sentence.
    pub says: String,
    /// What else a reader must know: limits from memory, calibration, readings that were not counted.
    pub remarks: Vec<String>,
}

/// The next thing to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Next<'r> {
    /// A safety test.
    Test(&'r Item),
    /// A step of the machine's own test.
    Step(&'r Retest),
}

impl Report {
    /// What to do next, if anything can be done now: the safety tests, then the steps of the machine's own test, then the
    /// functional test. Once something failed nothing more is put on the mains.
    pub fn next(&self) -> Option<Next<'_>> {
        let open = |item: &&Item| item.state == State::Open;
        let last = |item: &&Item| item.test == Test::Functional;
        let safety = self.items.iter().filter(open).find(|i| !last(i)).map(Next::Test);
        let step = || self.retest.iter().find(|r| r.state == Retested::Open).map(Next::Step);
        let functional = || self.items.iter().filter(open).find(last).map(Next::Test);
        let next = safety.or_else(step).or_else(functional)?;
        let energises = match next {
            Next::Test(item) => item.test.energises(),
            Next::Step(_) => true,
        };
        (self.conclusion != Conclusion::NotFit || !energises).then_some(next)
    }

    /// Tests that may apply and that nobody has judged: their limits in this standard are not known here.
    pub fn not_judged(&self) -> impl Iterator<Item = Test> + '_ {
        not_judged(&self.skipped)
    }
}
