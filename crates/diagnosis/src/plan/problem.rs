//! What a troubleshooting problem is.

use std::fmt;

/// Most steps in one problem: the set of steps taken is a word of 128 bits.
pub const MAX_STEPS: usize = 128;
/// Most panels and other access states in one problem.
pub const MAX_ACCESS: usize = 64;
/// Most parts that may have to be ordered: each set of them is a choice of its own.
pub const MAX_ORDERED: usize = 12;

/// A machine that is known not to work, and what can be done about it.
///
/// Costs are in one unit of the caller's choice: minutes, or money with minutes priced.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Probability of each suspect now; they exclude each other and sum to 1. A suspect may stand for several
    /// faults at once (see [`super::Components`]).
    pub suspects: Vec<f64>,
    /// Panels to take off, supply to isolate: states that cost something once and then stay.
    pub access: Vec<Access>,
    /// Checks and repairs, each done at most once.
    pub steps: Vec<Step>,
    /// How a repair's success shows.
    pub proof: Proof,
    /// Parts, when not all of them are at hand.
    pub stock: Option<Stock>,
    /// Cost of ending the job without a cure, allowed at any time. None: the job must end with a cure.
    pub give_up: Option<f64>,
}

/// One state of access, such as a panel that is off or a supply that is isolated.
#[derive(Clone, Debug, PartialEq)]
pub struct Access {
    /// The access state that must be reached before this one.
    pub parent: Option<usize>,
    /// Cost of opening *and* closing: whatever is opened is closed once, at the latest when the job ends.
    pub cost: f64,
}

/// A check or a repair.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Cost once access is there.
    pub cost: f64,
    /// Access states that must be open (their parents are opened too).
    pub open: Vec<usize>,
    /// Access states that must be closed (those under them are closed too); reopening costs again.
    pub closed: Vec<usize>,
    /// The part that it uses up, an index into [`Stock::parts`].
    pub part: Option<usize>,
    /// What it does.
    pub effect: Effect,
}

/// What a step does to what is known, or to the machine.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Shows one of several outcomes: `outcomes[k][s]` is the probability of outcome `k` under suspect `s`.
    /// For each suspect they sum to 1.
    Check {
        /// Rows of probabilities, one row for each outcome.
        outcomes: Vec<Vec<f64>>,
    },
    /// Changes the machine: for each suspect, what is left of it.
    Repair {
        /// One entry for each suspect.
        left: Vec<Left>,
    },
}

/// What a repair leaves of a suspect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// Probability, 0 … 1, that the machine still does not work.
    pub probability: f64,
    /// The suspect that then holds: the same one, or one with fewer faults, which must stand before it in the list.
    pub suspect: usize,
}

/// How it shows that a repair was a cure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Proof {
    /// At once, at no cost.
    AtOnce,
    /// Only in a system test with everything closed. It may be put off over several repairs; until it is done there
    /// are no checks.
    SystemTest {
        /// Cost of one test.
        cost: f64,
    },
}

/// The parts at hand, and what it costs to come back with others.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// For each part: at hand, or to be ordered at a handling cost that is paid whether it is used or not.
    pub parts: Vec<Supply>,
    /// Cost of the one return visit.
    pub visit: f64,
}

/// Where a part is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Supply {
    /// In the van.
    AtHand,
    /// To be ordered, at this handling cost.
    ToOrder {
        /// Paid for each ordered part, used or not.
        handling: f64,
    },
}

/// Why a problem was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ProblemError {
    /// A number is out of its range.
    BadNumber {
        /// Where it stands, in words.
        place: String,
    },
    /// An index points at nothing, or a list has the wrong length.
    BadReference {
        /// Where it stands, in words.
        place: String,
    },
    /// More steps, access states or parts to order than one problem may have.
    TooMany {
        /// Which of them.
        what: &'static str,
        /// How many there may be.
        limit: usize,
    },
    /// No sequence of steps is sure to end the job, and giving up is not allowed.
    NoEnd,
}

impl fmt::Display for ProblemError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BadNumber { place } => {
                write!(f, "{place} is out of range: probabilities lie in 0 … 1, costs are finite and ≥ 0")
            }
            Self::BadReference { place } => {
                write!(f, "{place} names something that is not there; give an existing index")
            }
            Self::TooMany { what, limit } => {
                write!(f, "more than {limit} {what}: leave out the least likely or the dearest")
            }
            Self::NoEnd => {
                f.write_str("no sequence of repairs is sure to cure this: add a cost of giving up")
            }
        }
    }
}

impl std::error::Error for ProblemError {}

impl Problem {
    /// Refuses what the planner could not reason about.
    ///
    /// # Errors
    /// Numbers out of range, probabilities that do not sum to 1 (to 1e-6), indices that point at nothing, cycles of
    /// access, and problems beyond the limits of this module.
    pub fn check(&self) -> Result<(), ProblemError> {
        for (what, count, limit) in [
            ("steps", self.steps.len(), MAX_STEPS),
            ("access states", self.access.len(), MAX_ACCESS),
            ("parts to order", self.to_order(), MAX_ORDERED),
            ("parts", self.stock.as_ref().map_or(0, |s| s.parts.len()), 64),
        ] {
            if count > limit {
                return Err(ProblemError::TooMany { what, limit });
            }
        }
        self.suspects.iter().try_for_each(|&p| probability(p, || "probability of a suspect".into()))?;
        sums_to_one(self.suspects.iter().sum(), || "sum of the suspects' probabilities".into())?;
        for (i, access) in self.access.iter().enumerate() {
            cost(access.cost, || format!("cost of access state {i}"))?;
            // Parents stand before their children, so there is no cycle to walk in.
            if access.parent.is_some_and(|p| p >= i) {
                return Err(ProblemError::BadReference { place: format!("parent of access state {i}") });
            }
        }
        for (i, step) in self.steps.iter().enumerate() {
            self.check_step(step, i)?;
        }
        if let Some(stock) = &self.stock {
            cost(stock.visit, || "cost of the return visit".into())?;
            for part in &stock.parts {
                if let Supply::ToOrder { handling } = part {
                    cost(*handling, || "handling cost of a part".into())?;
                }
            }
        }
        if let Proof::SystemTest { cost: test } = self.proof {
            cost(test, || "cost of the system test".into())?;
        }
        self.give_up.map_or(Ok(()), |c| cost(c, || "cost of giving up".into()))
    }

    fn check_step(&self, step: &Step, i: usize) -> Result<(), ProblemError> {
        cost(step.cost, || format!("cost of step {i}"))?;
        let place = |what: &str| ProblemError::BadReference { place: format!("{what} of step {i}") };
        if step.open.iter().chain(&step.closed).any(|&a| a >= self.access.len()) {
            return Err(place("access state"));
        }
        let open = self.with_parents(&step.open);
        if open & self.with_children(&step.closed) != 0 {
            return Err(place("access state both open and closed"));
        }
        if let Some(part) = step.part
            && self.stock.as_ref().is_some_and(|s| part >= s.parts.len())
        {
            return Err(place("part"));
        }
        match &step.effect {
            Effect::Check { outcomes } => {
                for row in outcomes {
                    if row.len() != self.suspects.len() {
                        return Err(place("outcome"));
                    }
                    row.iter().try_for_each(|&p| probability(p, || format!("outcome of step {i}")))?;
                }
                for s in 0..self.suspects.len() {
                    let sum = outcomes.iter().map(|row| row[s]).sum();
                    sums_to_one(sum, || format!("sum of the outcomes of step {i} under suspect {s}"))?;
                }
            }
            Effect::Repair { left } => {
                if left.len() != self.suspects.len() || left.iter().enumerate().any(|(s, l)| l.suspect > s) {
                    return Err(place("suspect left"));
                }
                left.iter().try_for_each(|l| probability(l.probability, || format!("repair in step {i}")))?;
            }
        }
        Ok(())
    }

    /// Bits of these access states and all that they lie under.
    pub(super) fn with_parents(&self, states: &[usize]) -> u64 {
        let mut mask = 0;
        for &state in states {
            let mut next = Some(state);
            while let Some(s) = next {
                mask |= 1 << s;
                next = self.access[s].parent;
            }
        }
        mask
    }

    /// Bits of these access states and all that lie under them.
    pub(super) fn with_children(&self, states: &[usize]) -> u64 {
        let mut mask: u64 = states.iter().fold(0, |m, &s| m | 1 << s);
        for (i, access) in self.access.iter().enumerate() {
            if access.parent.is_some_and(|p| mask >> p & 1 == 1) {
                mask |= 1 << i;
            }
        }
        mask
    }

    fn to_order(&self) -> usize {
        let parts = self.stock.as_ref().map_or(&[][..], |s| &s.parts);
        parts.iter().filter(|p| matches!(p, Supply::ToOrder { .. })).count()
    }
}

fn probability(value: f64, place: impl FnOnce() -> String) -> Result<(), ProblemError> {
    in_range((0.0..=1.0).contains(&value), place)
}

fn cost(value: f64, place: impl FnOnce() -> String) -> Result<(), ProblemError> {
    in_range(value.is_finite() && value >= 0.0, place)
}

fn sums_to_one(sum: f64, place: impl FnOnce() -> String) -> Result<(), ProblemError> {
    in_range((sum - 1.0).abs() <= 1e-6, place)
}

fn in_range(fits: bool, place: impl FnOnce() -> String) -> Result<(), ProblemError> {
    if fits { Ok(()) } else { Err(ProblemError::BadNumber { place: place() }) }
}
