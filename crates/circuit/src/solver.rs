//! From a network and a supply to a solution.

use num_complex::Complex64;

use crate::mesh::{Mesh, refill};
use crate::network::{Branch, Link};
use crate::shorts::{self, Shorts};
use crate::solution::Plug;
use crate::{CircuitError, Network, NodeId, Resistance, Solution, Supply};

const ZERO: Complex64 = Complex64::new(0.0, 0.0);
/// Below this a source resistance counts as none; the same limit as for a branch.
const IDEAL_BELOW_OHM: f64 = 1e-9;

/// Solves networks one after the other in the same buffers: once warm, nothing is allocated.
#[derive(Clone, Debug, Default)]
pub struct Solver {
    shorts: Shorts,
    mesh: Mesh,
    carriers: Vec<Carrier>,
    solution: Solution,
}

/// A branch with a finite impedance, and the edge of the reduced network that it is part of.
#[derive(Clone, Copy, Debug)]
struct Carrier {
    branch: u32,
    edge: u32,
    admittance: Complex64,
}

impl Solver {
    /// A solver with empty buffers.
    pub fn new() -> Self {
        Self::default()
    }

    /// Voltages and currents under this supply; overwritten by the next call.
    ///
    /// Nodes linked to one pole only sit at its potential, nodes linked to neither have no voltage against the rest.
    ///
    /// # Errors
    /// [`CircuitError::SupplyShorted`] with the way the short takes; [`CircuitError::Resonance`];
    /// [`CircuitError::NoSuchNode`] and [`CircuitError::UnusableSupply`] for the supply itself.
    pub fn solve(&mut self, network: &Network, supply: &Supply) -> Result<&Solution, CircuitError> {
        check(network, supply)?;
        self.shorts.merge(network, Branch::mains_link);
        let line = self.shorts.merged[supply.line.index()];
        let neutral = self.shorts.merged[supply.neutral.index()];
        if line == neutral {
            return Err(CircuitError::SupplyShorted {
                path: shorts::path(network, supply.line, supply.neutral),
            });
        }
        self.mesh.reset(self.shorts.merged_count + 1);
        let source = self.join_source(supply, line);
        let poles = self.mesh.connect(source, neutral, ZERO);
        self.join_branches(network);
        self.mesh
            .reduce(&[source, neutral])
            .map_err(|cancelled| CircuitError::Resonance { node: self.any_node_of(cancelled.node) })?;
        let current = self.mesh.admittance(poles) * supply.volts;
        self.mesh.excite(poles, source, supply.volts);
        self.mesh.settle();
        self.write_solution(network, supply, current);
        Ok(&self.solution)
    }

    /// What an ohmmeter shows between two nodes of a machine without supply: the resistance to direct current.
    /// Open for unknown nodes, which nothing can join.
    pub fn resistance_ohm(&mut self, network: &Network, a: NodeId, b: NodeId) -> Resistance {
        if network.known(a).is_err() || network.known(b).is_err() {
            return Resistance::Open;
        }
        self.shorts.merge(network, Branch::dc_link);
        let (a, b) = (self.shorts.merged[a.index()], self.shorts.merged[b.index()]);
        if a == b {
            return Resistance::Ohms(0.0);
        }
        self.mesh.reset(self.shorts.merged_count);
        let poles = self.mesh.connect(a, b, ZERO);
        for branch in network.branches() {
            let (from, to) = (self.shorts.merged[branch.from.index()], self.shorts.merged[branch.to.index()]);
            if let (Link::Siemens(conductance), true) = (branch.dc_link(), from != to) {
                self.mesh.connect(from, to, conductance);
            }
        }
        // Positive conductances never cancel, so that the error is never met.
        match self.mesh.reduce(&[a, b]) {
            Ok(()) if self.mesh.admittance(poles).re > 0.0 => {
                Resistance::Ohms(1.0 / self.mesh.admittance(poles).re)
            }
            _ => Resistance::Open,
        }
    }

    pub(crate) fn into_solution(self) -> Solution {
        self.solution
    }

    /// The node behind the source resistance: the line itself if there is none, else one more than the merged nodes.
    fn join_source(&mut self, supply: &Supply, line: u32) -> u32 {
        if supply.source_ohm < IDEAL_BELOW_OHM {
            return line;
        }
        let source = self.shorts.merged_count as u32;
        self.mesh.connect(source, line, Complex64::new(1.0 / supply.source_ohm, 0.0));
        source
    }

    fn join_branches(&mut self, network: &Network) {
        self.carriers.clear();
        for (number, branch) in network.branches().iter().enumerate() {
            let Link::Siemens(admittance) = branch.mains_link() else { continue };
            let (from, to) = (self.shorts.merged[branch.from.index()], self.shorts.merged[branch.to.index()]);
            if from != to {
                let edge = self.mesh.connect(from, to, admittance);
                self.carriers.push(Carrier { branch: number as u32, edge, admittance });
            }
        }
    }

    fn any_node_of(&self, merged: u32) -> NodeId {
        let place = self.shorts.merged.iter().position(|&number| number == merged);
        NodeId(place.unwrap_or_default() as u32)
    }

    fn write_solution(&mut self, network: &Network, supply: &Supply, current: Complex64) {
        let Self { shorts, mesh, carriers, solution } = self;
        refill(&mut solution.current, network.branches().len(), ZERO);
        refill(&mut solution.drop, network.branches().len(), ZERO);
        shorts.reset_inflow(network.node_count());
        shorts.inflow[supply.line.index()] += current;
        shorts.inflow[supply.neutral.index()] -= current;
        for carrier in carriers.iter() {
            let branch = &network.branches()[carrier.branch as usize];
            let drop = mesh.drop_from(shorts.merged[branch.from.index()], carrier.edge);
            let through = drop * carrier.admittance;
            solution.drop[carrier.branch as usize] = drop;
            solution.current[carrier.branch as usize] = through;
            shorts.inflow[branch.from.index()] -= through;
            shorts.inflow[branch.to.index()] += through;
        }
        shorts.currents(network, &mut solution.current);
        solution.merged.clone_from(&shorts.merged);
        solution.potential.clone_from(&mesh.potential);
        solution.island.clone_from(&mesh.island);
        let line = shorts.merged[supply.line.index()] as usize;
        let neutral = shorts.merged[supply.neutral.index()] as usize;
        solution.plug = Plug::new(mesh.potential[line] - mesh.potential[neutral], current);
    }
}

fn check(network: &Network, supply: &Supply) -> Result<(), CircuitError> {
    network.known(supply.line)?;
    network.known(supply.neutral)?;
    let Supply { volts, source_ohm, .. } = *supply;
    if volts.is_finite() && source_ohm.is_finite() && source_ohm >= 0.0 {
        Ok(())
    } else {
        Err(CircuitError::UnusableSupply { volts, source_ohm })
    }
}
