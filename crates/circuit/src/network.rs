//! The network as its user builds it: nodes, branches, supply.

use num_complex::Complex64;

use crate::{CircuitError, Element, Impedance, Resistance, Solution, Solver};

/// A node: terminals that a branch can end at, numbered from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NodeId(pub u32);

/// A branch, numbered from 0 in the order of adding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BranchId(pub u32);

impl NodeId {
    pub(crate) fn index(self) -> usize {
        self.0 as usize
    }
}

impl BranchId {
    pub(crate) fn index(self) -> usize {
        self.0 as usize
    }
}

/// One element between two nodes; its current counts as positive from `from` to `to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Branch {
    /// Where a positive current enters.
    pub from: NodeId,
    /// Where a positive current leaves.
    pub to: NodeId,
    /// What lies between, limits made plain (an impedance of 0 Ω has become a short).
    pub element: Element,
}

/// How a branch joins its ends in one regime, mains frequency or direct current.
#[derive(Clone, Copy)]
pub(crate) enum Link {
    Open,
    Short,
    Siemens(Complex64),
}

impl Branch {
    pub(crate) fn mains_link(&self) -> Link {
        match self.element.ac {
            Impedance::Open => Link::Open,
            Impedance::Short => Link::Short,
            Impedance::Ohms(z) => Link::Siemens(z.inv()),
        }
    }

    pub(crate) fn dc_link(&self) -> Link {
        match self.element.dc {
            Resistance::Open => Link::Open,
            Resistance::Ohms(0.0) => Link::Short,
            Resistance::Ohms(ohm) => Link::Siemens(Complex64::new(1.0 / ohm, 0.0)),
        }
    }
}

/// The mains as seen from the machine: an ideal source behind the resistance of the installation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// Node that the source resistance feeds.
    pub line: NodeId,
    /// The other pole, taken for 0 V. To follow leakage, let this be the installation's neutral, join the earth node to
    /// it by a branch of the earth loop's resistance, and the plug's neutral pin by another branch: each has its current.
    pub neutral: NodeId,
    /// Open-circuit voltage, V (effective value).
    pub volts: f64,
    /// Source (loop) resistance, Ω; below 1 nΩ counts as none.
    pub source_ohm: f64,
}

/// Elements joined at nodes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Network {
    node_count: usize,
    branches: Vec<Branch>,
}

impl Network {
    /// A network of nodes 0 … `node_count` − 1 that nothing joins yet.
    pub fn new(node_count: usize) -> Self {
        Self { node_count, branches: Vec::new() }
    }

    /// Joins two nodes by an element. A branch from a node to itself is allowed and carries nothing.
    ///
    /// # Errors
    /// [`CircuitError::NoSuchNode`], [`CircuitError::NotANumber`], [`CircuitError::NegativeResistance`].
    pub fn add(
        &mut self,
        from: NodeId,
        to: NodeId,
        element: impl Into<Element>,
    ) -> Result<BranchId, CircuitError> {
        self.known(from)?;
        self.known(to)?;
        let element = element.into().checked()?;
        let id = BranchId(self.branches.len() as u32);
        self.branches.push(Branch { from, to, element });
        Ok(id)
    }

    /// Puts another element in a branch: a contact opens, a part fails, a connector is unplugged.
    ///
    /// # Errors
    /// [`CircuitError::NoSuchBranch`], [`CircuitError::NotANumber`], [`CircuitError::NegativeResistance`].
    pub fn set(&mut self, branch: BranchId, element: impl Into<Element>) -> Result<(), CircuitError> {
        let element = element.into().checked()?;
        let place = self.branches.get_mut(branch.index()).ok_or(CircuitError::NoSuchBranch { branch })?;
        place.element = element;
        Ok(())
    }

    /// Number of nodes.
    pub fn node_count(&self) -> usize {
        self.node_count
    }

    /// All branches, in the order of their [`BranchId`].
    pub fn branches(&self) -> &[Branch] {
        &self.branches
    }

    /// Voltages and currents under this supply. For many networks in a row keep a [`Solver`].
    ///
    /// # Errors
    /// See [`Solver::solve`].
    pub fn solve(&self, supply: &Supply) -> Result<Solution, CircuitError> {
        let mut solver = Solver::default();
        solver.solve(self, supply)?;
        Ok(solver.into_solution())
    }

    /// What an ohmmeter shows between two nodes, the machine unplugged; see [`Solver::resistance_ohm`].
    pub fn resistance_ohm(&self, a: NodeId, b: NodeId) -> Resistance {
        Solver::default().resistance_ohm(self, a, b)
    }

    pub(crate) fn known(&self, node: NodeId) -> Result<usize, CircuitError> {
        if node.index() < self.node_count { Ok(node.index()) } else { Err(CircuitError::NoSuchNode { node }) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_there_is_refused() {
        let mut network = Network::new(2);
        let missing = NodeId(2);
        assert_eq!(
            network.add(NodeId(0), missing, Element::SHORT),
            Err(CircuitError::NoSuchNode { node: missing })
        );
        let branch = BranchId(0);
        assert_eq!(network.set(branch, Element::SHORT), Err(CircuitError::NoSuchBranch { branch }));
        assert_eq!(network.add(NodeId(0), NodeId(1), Impedance::Open), Ok(branch));
        assert_eq!(network.set(branch, Element::resistor(f64::NAN)), Err(CircuitError::NotANumber));
        assert_eq!(network.branches()[0].element, Element::OPEN, "a refused element changes nothing");
    }
}
