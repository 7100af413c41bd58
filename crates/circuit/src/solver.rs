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

    /// The last solution, where [`Solver::solve`] found one.
    pub fn solution(&self) -> &Solution {
        &self.solution
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
        solution.plug_current = current;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{BranchId, Element, Impedance};

    const SUPPLY: Supply = Supply { line: NodeId(0), neutral: NodeId(1), volts: 230.0, source_ohm: 0.0 };

    /// A network of these branches, numbered in order.
    fn network(nodes: usize, branches: &[(u32, u32, Element)]) -> Network {
        let mut network = Network::new(nodes);
        for &(from, to, element) in branches {
            network.add(NodeId(from), NodeId(to), element).unwrap();
        }
        network
    }

    fn ohm(ohm: f64) -> Element {
        Element::resistor(ohm)
    }

    fn reactance(ohm: f64) -> Element {
        Impedance::Ohms(Complex64::new(0.0, ohm)).into()
    }

    fn solve(network: &Network) -> Solution {
        network.solve(&SUPPLY).unwrap()
    }

    #[test]
    fn heater_draws_its_power() {
        let solution = solve(&network(2, &[(0, 1, ohm(23.0))]));
        let plug = solution.plug();
        assert!((plug.power_w - 2300.0).abs() < 1e-9 && (plug.current_a - 10.0).abs() < 1e-12);
        assert_eq!(plug.power_factor, Some(1.0));
        assert!((solution.power(BranchId(0)).re - 2300.0).abs() < 1e-9);
    }

    #[test]
    fn source_resistance_takes_its_share() {
        let supply = Supply { source_ohm: 2.0, ..SUPPLY };
        let solution = network(2, &[(0, 1, ohm(21.0))]).solve(&supply);
        let plug = solution.unwrap().plug();
        assert!((plug.voltage_v - 210.0).abs() < 1e-9 && (plug.power_w - 2100.0).abs() < 1e-9);
    }

    #[test]
    fn nothing_drawn_has_no_power_factor() {
        let plug = solve(&network(3, &[(0, 2, ohm(23.0))])).plug();
        assert_eq!((plug.current_a, plug.power_w, plug.power_factor), (0.0, 0.0, None));
        assert_eq!(plug.voltage_v, 230.0);
    }

    #[test]
    fn a_node_on_one_pole_sits_at_its_potential_and_a_free_one_has_none() {
        let solution = solve(&network(6, &[(0, 2, ohm(1e6)), (1, 3, reactance(50.0)), (4, 5, ohm(1.0))]));
        assert_eq!(solution.voltage_between(NodeId(2), NodeId(3)), Some(Complex64::new(230.0, 0.0)));
        assert_eq!(solution.voltage_between(NodeId(4), NodeId(1)), None);
        assert_eq!(solution.voltage_between(NodeId(4), NodeId(5)), Some(ZERO));
        assert_eq!(solution.voltage_between(NodeId(4), NodeId(9)), None);
    }

    #[test]
    fn a_shorted_supply_names_the_way() {
        let shorted =
            network(4, &[(0, 2, Element::SHORT), (3, 2, Element::SHORT), (1, 3, ohm(0.0)), (0, 1, ohm(5.0))]);
        let path = vec![BranchId(0), BranchId(1), BranchId(2)];
        assert_eq!(shorted.solve(&SUPPLY), Err(CircuitError::SupplyShorted { path }));
        let same = Supply { neutral: SUPPLY.line, ..SUPPLY };
        assert_eq!(shorted.solve(&same), Err(CircuitError::SupplyShorted { path: vec![] }));
    }

    #[test]
    fn resonance_in_series_is_an_error_alone_and_none_behind_a_resistor() {
        let alone = network(3, &[(0, 2, reactance(100.0)), (2, 1, reactance(-100.0))]);
        assert_eq!(alone.solve(&SUPPLY), Err(CircuitError::Resonance { node: NodeId(2) }));
        let damped = network(4, &[(0, 3, reactance(100.0)), (3, 2, reactance(-100.0)), (2, 1, ohm(23.0))]);
        assert!((solve(&damped).current(BranchId(2)) - 10.0).norm() < 1e-12);
    }

    #[test]
    fn resonance_in_parallel_draws_nothing() {
        let solution = solve(&network(2, &[(0, 1, reactance(100.0)), (0, 1, reactance(-100.0))]));
        assert!(solution.plug().current_a < 1e-15);
        assert!((solution.current(BranchId(0)) - Complex64::new(0.0, -2.3)).norm() < 1e-12);
    }

    #[test]
    fn wires_and_contacts_report_their_current() {
        // Line – contact – fork to two heaters, one behind another contact; a wire that ends in the air.
        let branches = [
            (0, 2, Element::SHORT),
            (2, 3, Element::SHORT),
            (3, 4, Element::SHORT),
            (5, 2, Element::SHORT),
            (4, 1, ohm(46.0)),
            (2, 1, ohm(23.0)),
        ];
        let solution = solve(&network(6, &branches));
        for (branch, ampere) in [(0, 15.0), (1, 5.0), (2, 5.0), (3, 0.0), (4, 5.0), (5, 10.0)] {
            assert!((solution.current(BranchId(branch)) - ampere).norm() < 1e-12, "branch {branch}");
        }
        assert_eq!(solution.power(BranchId(0)), ZERO);
    }

    #[test]
    fn loops_of_wires_split_as_equal_resistors() {
        // Two wires in parallel, then a triangle: one way direct, one over a further node.
        let branches = [
            (0, 2, Element::SHORT),
            (2, 0, Element::SHORT),
            (2, 3, Element::SHORT),
            (2, 4, Element::SHORT),
            (4, 3, Element::SHORT),
            (3, 1, ohm(23.0)),
            (3, 3, Element::SHORT),
        ];
        let solution = solve(&network(5, &branches));
        for (branch, ampere) in
            [(0, 5.0), (1, -5.0), (2, 20.0 / 3.0), (3, 10.0 / 3.0), (4, 10.0 / 3.0), (6, 0.0)]
        {
            assert!((solution.current(BranchId(branch)) - ampere).norm() < 1e-12, "branch {branch}");
        }
    }

    #[test]
    fn an_ohmmeter_sees_copper_only() {
        let branches = [(0, 1, Element::capacitor(1e-6, 50.0)), (0, 2, Element::coil(150.0, 1.0, 50.0))];
        let mut network = network(5, &branches);
        let across = |network: &Network, a, b| network.resistance_ohm(NodeId(a), NodeId(b));
        assert_eq!(across(&network, 0, 1), Resistance::Open);
        assert_eq!(across(&network, 0, 2), Resistance::Ohms(150.0));
        assert_eq!(across(&network, 2, 2), Resistance::Ohms(0.0));
        assert_eq!(across(&network, 2, 77), Resistance::Open);
        assert_eq!(network.set(BranchId(1), Element::SHORT), Ok(()));
        assert_eq!(across(&network, 0, 2), Resistance::Ohms(0.0));
    }

    #[test]
    fn mains_and_ohmmeter_may_see_different_shorts() {
        let mains_only = Element { ac: Impedance::Short, dc: Resistance::Open };
        let network = network(3, &[(0, 1, reactance(100.0)), (1, 2, mains_only)]);
        assert_eq!(network.resistance_ohm(NodeId(0), NodeId(1)), Resistance::Ohms(0.0));
        assert_eq!(network.resistance_ohm(NodeId(1), NodeId(2)), Resistance::Open);
        assert_eq!(solve(&network).voltage_between(NodeId(1), NodeId(2)), Some(ZERO));
    }

    #[test]
    fn an_unusable_supply_is_refused() {
        let network = network(2, &[]);
        for supply in [Supply { volts: f64::NAN, ..SUPPLY }, Supply { source_ohm: -1.0, ..SUPPLY }] {
            assert!(matches!(network.solve(&supply), Err(CircuitError::UnusableSupply { .. })));
        }
        let elsewhere = Supply { line: NodeId(2), ..SUPPLY };
        assert_eq!(network.solve(&elsewhere), Err(CircuitError::NoSuchNode { node: NodeId(2) }));
    }

    #[test]
    fn a_warm_solver_keeps_its_buffers() {
        let network = network(4, &[(0, 2, ohm(1.0)), (2, 3, ohm(2.0)), (3, 1, ohm(3.0)), (2, 1, ohm(4.0))]);
        let mut solver = Solver::new();
        let places = |solver: &mut Solver| {
            let solution = solver.solve(&network, &SUPPLY).unwrap();
            (
                solution.current.as_ptr(),
                solution.drop.as_ptr(),
                solution.potential.as_ptr(),
                solution.merged.as_ptr(),
            )
        };
        assert_eq!(places(&mut solver), places(&mut solver));
    }
}
