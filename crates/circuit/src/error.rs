//! Why a network cannot be built or solved.

use std::fmt;

use crate::{BranchId, NodeId};

/// Why a network cannot be built or solved.
#[derive(Clone, Debug, PartialEq)]
pub enum CircuitError {
    /// A branch or the supply ends at a node that the network does not have.
    NoSuchNode {
        /// The node asked for.
        node: NodeId,
    },
    /// A branch was set that the network does not have.
    NoSuchBranch {
        /// The branch asked for.
        branch: BranchId,
    },
    /// An impedance or resistance is not a number.
    NotANumber,
    /// A resistance below zero, which no passive part has.
    NegativeResistance {
        /// The resistance given, in Ω.
        ohm: f64,
    },
    /// The supply's voltage is not finite, or its source resistance is negative or not finite.
    UnusableSupply {
        /// Voltage given, in V.
        volts: f64,
        /// Source resistance given, in Ω.
        source_ohm: f64,
    },
    /// Wires and closed contacts alone join both poles of the supply.
    SupplyShorted {
        /// A shortest way from line to neutral, in order; empty if both poles are the same node.
        path: Vec<BranchId>,
    },
    /// A loss-free coil and a loss-free capacitor cancel each other at this node: its voltage would have no limit.
    Resonance {
        /// Where the currents cancel.
        node: NodeId,
    },
}

impl fmt::Display for CircuitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchNode { node } => write!(f, "node {} is not in this network: add it first", node.0),
            Self::NoSuchBranch { branch } => {
                write!(f, "branch {} is not in this network: add it first", branch.0)
            }
            Self::NotANumber => {
                write!(f, "an impedance is not a number: check the values it was computed from")
            }
            Self::NegativeResistance { ohm } => {
                write!(f, "a resistance of {ohm} Ω is below zero: give 0 Ω or more")
            }
            Self::UnusableSupply { volts, source_ohm } => write!(
                f,
                "a supply of {volts} V behind {source_ohm} Ω cannot be: both must be finite, the resistance not below zero"
            ),
            Self::SupplyShorted { path } => {
                write!(f, "line and neutral are joined without any resistance")?;
                write_path(f, path)?;
                write!(f, ": open one of these contacts or wires")
            }
            Self::Resonance { node } => write!(
                f,
                "a coil and a capacitor without losses cancel at node {}: give the coil its copper resistance",
                node.0
            ),
        }
    }
}

impl std::error::Error for CircuitError {}

fn write_path(f: &mut fmt::Formatter<'_>, path: &[BranchId]) -> fmt::Result {
    for (place, branch) in path.iter().enumerate() {
        write!(f, "{}{}", if place == 0 { ", through branches " } else { ", " }, branch.0)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_message_says_what_where_and_what_to_do() {
        let path = vec![BranchId(4), BranchId(7)];
        let messages = [
            CircuitError::NoSuchNode { node: NodeId(9) },
            CircuitError::NoSuchBranch { branch: BranchId(9) },
            CircuitError::NotANumber,
            CircuitError::NegativeResistance { ohm: -3.5 },
            CircuitError::UnusableSupply { volts: 230.0, source_ohm: -1.0 },
            CircuitError::SupplyShorted { path },
            CircuitError::Resonance { node: NodeId(3) },
        ]
        .map(|error| error.to_string())
        .join("\n");
        let expected = "\
node 9 is not in this network: add it first
branch 9 is not in this network: add it first
an impedance is not a number: check the values it was computed from
a resistance of -3.5 Ω is below zero: give 0 Ω or more
a supply of 230 V behind -1 Ω cannot be: both must be finite, the resistance not below zero
line and neutral are joined without any resistance, through branches 4, 7: open one of these contacts or wires
a coil and a capacitor without losses cancel at node 3: give the coil its copper resistance";
        assert_eq!(messages, expected);
    }
}
