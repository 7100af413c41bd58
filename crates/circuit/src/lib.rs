//! Circuit: a machine's network at mains frequency in the steady state.
//!
//! A [`Network`] is a list of branches between nodes, each an [`Element`]: an impedance, or one of its limits open and
//! short. Under a [`Supply`] it has a [`Solution`]: the voltage between any two nodes, the current and power of any branch
//! (of a wire or contact too), and what a power meter at the plug shows. Without supply an ohmmeter sees
//! [`Network::resistance_ohm`]. Whoever solves many networks keeps one [`Solver`].
//!
//! ```
//! use circuit::{Element, Network, NodeId, Resistance, Supply};
//!
//! // A heater of 26.4 Ω behind a contact; 100 kΩ leak to the casing, which is earthed.
//! let [line, neutral, heater, earth] = [0, 1, 2, 3].map(NodeId);
//! let mut network = Network::new(4);
//! let contact = network.add(line, heater, Element::SHORT)?;
//! network.add(heater, neutral, Element::resistor(26.4))?;
//! network.add(heater, earth, Element::resistor(100_000.0))?;
//! // The installation joins earth and neutral: leakage flows here.
//! let protective_earth = network.add(earth, neutral, Element::resistor(0.5))?;
//!
//! let supply = Supply { line, neutral, volts: 230.0, source_ohm: 0.4 };
//! let solution = network.solve(&supply)?;
//! assert_eq!(solution.plug().power_w.round(), 1945.0);
//! assert_eq!((solution.current(protective_earth).norm() * 1e6).round(), 2266.0);
//!
//! network.set(contact, Element::OPEN)?;
//! assert_eq!(network.solve(&supply)?.plug().power_w, 0.0);
//! assert_eq!(network.resistance_ohm(line, heater), Resistance::Open);
//! # Ok::<(), circuit::CircuitError>(())
//! ```
//!
//! Read in this order: `network.rs`, `solver.rs`, `mesh.rs` (the method), `shorts.rs`.
//!
//! Not here: which elements a machine's parts are, in which state; transients, harmonics, and
//! anything that depends on its own current.
//!
//! Always true: no input makes it panic or divide by nought; nodes without any path to each other have no voltage between
//! them rather than a made-up one; results do not depend on the order of nodes and branches beyond rounding.

mod element;
mod error;
mod mesh;
mod network;
mod shorts;
mod solution;
mod solver;
mod wiring;

pub use element::{Element, Impedance, Resistance};
pub use error::CircuitError;
pub use network::{Branch, BranchId, Network, NodeId, Supply};
pub use num_complex::Complex64;
pub use solution::{Plug, Solution};
pub use solver::Solver;
pub use wiring::{Shorted, Solved, Spread, Wiring, end_of};
