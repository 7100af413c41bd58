//! Posteriors in discrete networks, exactly.
//!
//! [`TwoLayer`] holds independent faults and checks that each of them may turn abnormal; its cost grows with the
//! number of *abnormal* checks only. [`Discrete`] holds any small network of discrete variables.

mod discrete;
mod two_layer;

pub use discrete::{Discrete, DiscretePosterior, Variable};
pub use two_layer::{Link, NoisyOr, Observed, TwoLayer, TwoLayerPosterior};

use std::fmt;

/// Why a network was refused, or a question about it could not be answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NetworkError {
    /// A number that must be a probability is not in 0 … 1.
    NotAProbability {
        /// Where it stands, in words.
        place: String,
    },
    /// Something names a fault, check, variable or state that the network does not have, or names it twice.
    BadReference {
        /// Where it stands, in words.
        place: String,
    },
    /// The evidence has probability zero: no combination of faults can produce it.
    Impossible,
    /// The answer would need a table larger than this crate allows.
    TooLarge {
        /// Entries that the table would need, as a power of two.
        bits: u32,
    },
}

impl fmt::Display for NetworkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotAProbability { place } => {
                write!(f, "{place}: not a probability; give a number from 0 to 1")
            }
            Self::BadReference { place } => {
                write!(
                    f,
                    "{place}: names something that is not there, or names it twice; give each index once"
                )
            }
            Self::Impossible => {
                f.write_str("no combination of faults can produce this evidence; take the readings again")
            }
            Self::TooLarge { bits } => {
                write!(f, "the exact answer needs a table of 2^{bits} entries; leave out some evidence")
            }
        }
    }
}

impl std::error::Error for NetworkError {}

/// Accepts `value` when it is a probability; otherwise says where the wrong one stands.
fn probability(value: f64, place: impl FnOnce() -> String) -> Result<f64, NetworkError> {
    if (0.0..=1.0).contains(&value) {
        Ok(value)
    } else {
        Err(NetworkError::NotAProbability { place: place() })
    }
}
