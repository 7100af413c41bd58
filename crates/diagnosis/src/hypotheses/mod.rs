//! Which parts have failed, and how: the posterior over sets of faults, with a bound on what was left out.
//!
//! Each [`Part`] has fault modes that exclude each other; parts fail independently, save for named [`Consequence`]s.
//! What was seen is a list of [`Item`]s, independent given the faults; each names the faults that make a difference to
//! it. [`posterior`] lists the weightiest sets of faults and states how much all the others can weigh together.
//!
//! Read in this order: this file, `prior.rs` (sets of faults before anything is seen), `evidence.rs` (what is known of
//! the likelihoods), `lattice.rs` (what many sets can weigh together), `one_more.rs` (what the next fault makes of a set),
//! `asking.rs` (what is going to be asked for, gathered), `search.rs` (which set next, and when to stop).

mod asking;
mod evidence;
mod lattice;
mod one_more;
mod prior;
mod search;

pub use evidence::{Ceiling, Item, Question};
pub use prior::Prior;
pub use search::{Limits, Posterior, posterior, posterior_at_once};

use std::fmt;

/// One part and what can go wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Prior probability of each fault mode; the rest to 1 is of the part being sound.
    pub modes: Vec<f64>,
}

/// One failed part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fault {
    /// Index of the part.
    pub part: usize,
    /// Index of the mode among the part's modes.
    pub mode: usize,
}

/// A fault that brings another with it, such as an element leaking to earth that takes its relay along.
///
/// If `cause` arose by itself and the part of `effect` is still sound, `effect` follows with `probability`.
/// Consequences strike in the order of the list; those of consequences are not followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Consequence {
    /// The fault that arises by itself.
    pub cause: Fault,
    /// The fault that may follow, in another part.
    pub effect: Fault,
    /// Probability, 0 … 1, that it follows.
    pub probability: f64,
}

/// A set of faults, at most one a part, by part; empty: nothing is wrong with the machine.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hypothesis {
    /// The faults, in the order of their parts.
    pub faults: Vec<Fault>,
}

/// Why a prior was refused, or a posterior could not be given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HypothesesError {
    /// The modes of a part are not probabilities, or sum to more than 1.
    BadPart {
        /// Index of the part.
        part: usize,
    },
    /// A consequence names a fault that is not there, strikes its own part, or has no probability.
    BadConsequence {
        /// Index of the consequence.
        consequence: usize,
    },
    /// An item names a fault that is not there, or a ceiling that is no logarithm of a likelihood.
    BadItem {
        /// Index of the item.
        item: usize,
    },
    /// Every hypothesis looked at has likelihood zero, and nothing was left out.
    NothingFits,
    /// A likelihood is not a number, or is above the bound that was promised.
    BadLikelihood,
}

impl fmt::Display for HypothesesError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BadPart { part } => {
                write!(f, "part {part}: give each fault mode a probability, together at most 1")
            }
            Self::BadConsequence { consequence } => {
                write!(
                    f,
                    "consequence {consequence}: name two faults of different parts and a probability from 0 to 1"
                )
            }
            Self::BadItem { item } => {
                write!(f, "item {item} of the evidence: name existing faults, and ceilings below infinity")
            }
            Self::NothingFits => f.write_str("no set of faults fits this evidence; take the readings again"),
            Self::BadLikelihood => f.write_str("a likelihood is not a number or above its stated bound"),
        }
    }
}

impl std::error::Error for HypothesesError {}
