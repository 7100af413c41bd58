//! Random networks for the property tests.
#![allow(dead_code, unreachable_pub, reason = "each test file takes what it needs")]

use std::ops::RangeInclusive;

use circuit::{Complex64, Element, Impedance, Network, NodeId, Supply};
use proptest::prelude::*;

/// Ends and element of each branch; ends are taken modulo the number of nodes.
#[derive(Clone, Debug)]
pub struct Plan {
    pub nodes: u32,
    pub branches: Vec<(u32, u32, Element)>,
}

impl Plan {
    pub fn network(&self) -> Network {
        let mut network = Network::new(self.nodes as usize);
        for &(from, to, element) in &self.branches {
            network.add(NodeId(from), NodeId(to), element).unwrap();
        }
        network
    }
}

pub const SUPPLY: Supply = Supply { line: NodeId(0), neutral: NodeId(1), volts: 230.0, source_ohm: 0.4 };

/// Resistances even over the decades from `10^low` to `10^high` Ω.
pub fn ohms(low: f64, high: f64) -> impl Strategy<Value = f64> {
    (low..high).prop_map(|decade| 10_f64.powf(decade))
}

/// A resistor, or one in series with a coil or a capacitor of a similar reactance.
pub fn part(low: f64, high: f64) -> impl Strategy<Value = Element> {
    let reactive = (ohms(low, high), -1.0..1.0_f64)
        .prop_map(|(ohm, ratio)| Impedance::Ohms(Complex64::new(ohm, 2.0 * ratio * ohm)).into());
    prop_oneof![ohms(low, high).prop_map(Element::resistor), reactive]
}

/// Mostly parts, some wires, some gaps.
pub fn element(low: f64, high: f64) -> impl Strategy<Value = Element> {
    prop_oneof![4 => part(low, high), 2 => Just(Element::SHORT), 1 => Just(Element::OPEN)]
}

pub fn plan(
    nodes: RangeInclusive<u32>,
    branches: usize,
    element: impl Strategy<Value = Element>,
) -> impl Strategy<Value = Plan> {
    let branch = (any::<u32>(), any::<u32>(), element);
    (nodes, prop::collection::vec(branch, 1..=branches)).prop_map(|(nodes, branches)| Plan {
        nodes,
        branches: branches
            .into_iter()
            .map(|(from, to, element)| (from % nodes, to % nodes, element))
            .collect(),
    })
}
