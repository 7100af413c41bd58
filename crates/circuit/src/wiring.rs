//! Wiring: from a machine, its faults and its circumstances to a network.

use crate::{
    BranchId, CircuitError, Complex64, Element, Impedance, Network, NodeId, Resistance, Solution, Solver,
    Supply,
};
use machine::kind::{self, Branch, Path, Situation};
use machine::model::{Machine, PartId, node};

/// Resistance of the way from the socket's earth contact to the installation's neutral, Ω. Any figure far below
/// a person's and far above a wire's serves: it only gives leakage a way home.
const EARTH_LOOP_OHM: f64 = 1.0;

/// A machine as a network, kept between solutions so that nothing is allocated anew.
#[derive(Clone)]
pub struct Wiring<'m> {
    machine: &'m Machine,
    network: Network,
    solver: Solver,
    /// All branches, part by part; `parts` says which are whose.
    branches: Vec<Branch>,
    parts: Vec<std::ops::Range<usize>>,
    ids: Vec<BranchId>,
    /// What each part was last asked for, so that only parts that changed are asked again.
    asked: Vec<(Option<usize>, Situation)>,
    /// Parts that only conduct: no situation makes a difference to them.
    conducts: Vec<bool>,
    /// The supply that the network was solved at as it is now, V.
    solved_at: Option<f64>,
    scratch: Vec<Branch>,
    opened: Vec<bool>,
    /// The plug is in its socket.
    plugged: bool,
    earth: BranchId,
}

/// The network could not be solved: a short across the supply, with the parts that lie on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shorted {
    /// Names of the parts on the way from line to neutral.
    pub parts: Vec<PartId>,
}

impl<'m> Wiring<'m> {
    /// A machine with all joints closed.
    pub fn new(machine: &'m Machine) -> Self {
        Wiring {
            machine,
            network: Network::new(machine.nodes.len() + 1),
            solver: Solver::new(),
            branches: Vec::new(),
            parts: Vec::new(),
            ids: Vec::new(),
            asked: Vec::new(),
            conducts: machine.parts.iter().map(|p| p.kind.behaviour.only_conducts()).collect(),
            solved_at: None,
            scratch: Vec::new(),
            opened: vec![false; machine.joints.len()],
            plugged: true,
            earth: BranchId(0),
        }
    }

    /// Opens the joints that these names open (connectors, tabs or single pins); the others are closed.
    pub fn unplug<S: AsRef<str>>(&mut self, names: &[S]) {
        for (open, joint) in self.opened.iter_mut().zip(&self.machine.joints) {
            *open = names.iter().any(|n| joint.opens_with == n.as_ref() || joint.name == n.as_ref());
        }
        self.asked.clear();
    }

    /// Pulls the plug: neutral and protective conductor no longer meet in the installation.
    pub fn pull_plug(&mut self) {
        self.plugged = false;
        self.asked.clear();
    }

    /// Builds the network: every part's branches in its mode (index into its kind's modes) and situation.
    ///
    /// Parts whose mode and situation are as they were keep their branches; a part that answers with branches between
    /// the same ends only has their elements exchanged. The network is built anew where neither helps.
    pub fn assemble(&mut self, modes: &[Option<usize>], situations: &[Situation]) {
        if self.asked.len() != self.machine.parts.len() || !self.exchange(modes, situations) {
            self.rebuild(modes, situations);
        }
    }

    /// Exchanges the elements of parts that changed; false where a part's branches have other ends than before.
    fn exchange(&mut self, modes: &[Option<usize>], situations: &[Situation]) -> bool {
        for (id, part) in self.machine.parts.iter().enumerate() {
            let (mode, situation) = &self.asked[id];
            if *mode == modes[id] && (self.conducts[id] || *situation == situations[id]) {
                continue;
            }
            self.scratch.clear();
            let mode = modes[id].map(|m| part.kind.modes[m].name);
            part.kind.behaviour.electrics(&part.params, mode, &situations[id], &mut self.scratch);
            let range = self.parts[id].clone();
            let same_ends = self.scratch.len() == range.len()
                && self
                    .scratch
                    .iter()
                    .zip(&self.branches[range.clone()])
                    .all(|(a, b)| same_name(a.from, b.from) && same_name(a.to, b.to));
            if !same_ends {
                return false;
            }
            self.asked[id] = (modes[id], situations[id]);
            for (at, new) in range.zip(&self.scratch) {
                let old = &mut self.branches[at];
                if (old.ac, old.dc) != (new.ac, new.dc) {
                    // Not set: an end in the air, or an element that no part gives (NaN).
                    let _ = self.network.set(self.ids[at], element(new));
                    self.solved_at = None;
                }
                *old = *new;
            }
        }
        true
    }

    fn rebuild(&mut self, modes: &[Option<usize>], situations: &[Situation]) {
        self.branches.clear();
        self.parts.clear();
        self.asked.clear();
        for (id, part) in self.machine.parts.iter().enumerate() {
            let start = self.branches.len();
            let mode = modes[id].map(|m| part.kind.modes[m].name);
            part.kind.behaviour.electrics(&part.params, mode, &situations[id], &mut self.branches);
            self.parts.push(start..self.branches.len());
            self.asked.push((modes[id], situations[id]));
        }
        self.connect();
    }

    fn connect(&mut self) {
        let install = node_id(self.machine.nodes.len());
        self.solved_at = None;
        self.network = Network::new(self.machine.nodes.len() + 1);
        self.ids.clear();
        let join = |network: &mut Network, a, b, element: Element| {
            network.add(a, b, element).unwrap_or(BranchId(u32::MAX))
        };
        if self.plugged {
            join(&mut self.network, install, node_id(node::NEUTRAL), Element::SHORT);
            self.earth =
                join(&mut self.network, node_id(node::EARTH), install, Element::resistor(EARTH_LOOP_OHM));
        }
        for (joint, open) in self.machine.joints.iter().zip(&self.opened) {
            if !open {
                join(&mut self.network, node_id(joint.inner), node_id(joint.outer), Element::SHORT);
            }
        }
        for (part, range) in self.machine.parts.iter().zip(&self.parts) {
            for branch in &self.branches[range.clone()] {
                let from = end_of(part, branch.from);
                let to = end_of(part, branch.to);
                let id = match (from, to) {
                    (Some(a), Some(b)) => join(&mut self.network, node_id(a), node_id(b), element(branch)),
                    // A free optional terminal: the branch hangs in the air.
                    _ => BranchId(u32::MAX),
                };
                self.ids.push(id);
            }
        }
    }

    /// Solves at the plug.
    pub fn solve(&mut self, volts: f64) -> Result<Solved<'_>, Shorted> {
        let supply = Supply {
            line: node_id(node::LINE),
            neutral: node_id(self.machine.nodes.len()),
            volts,
            source_ohm: 0.0,
        };
        let known = self.solved_at.take() == Some(volts);
        let solved = if known { Ok(()) } else { self.solver.solve(&self.network, &supply).map(drop) };
        match solved {
            Ok(()) => {
                self.solved_at = Some(volts);
                Ok(Solved {
                    solution: self.solver.solution(),
                    branches: &self.branches,
                    parts: &self.parts,
                    ids: &self.ids,
                    earth: self.earth,
                })
            }
            Err(CircuitError::SupplyShorted { path }) => {
                let on_path = |range: &std::ops::Range<usize>| {
                    self.ids[range.clone()].iter().any(|id| path.contains(id))
                };
                Err(Shorted {
                    parts: self
                        .parts
                        .iter()
                        .enumerate()
                        .filter(|(_, r)| on_path(r))
                        .map(|(p, _)| p)
                        .collect(),
                })
            }
            Err(_) => Err(Shorted { parts: Vec::new() }),
        }
    }

    /// Ohms between two nodes of the network as last assembled, for a dead machine.
    pub fn resistance(&mut self, a: usize, b: usize) -> Resistance {
        self.solver.resistance_ohm(&self.network, node_id(a), node_id(b))
    }

    /// The network as last assembled. Its nodes are the machine's, and one more: the installation's neutral.
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The branches of a part as last assembled.
    pub fn branches(&self, part: PartId) -> &[Branch] {
        &self.branches[self.parts[part].clone()]
    }
}

/// A solved machine.
pub struct Solved<'w> {
    solution: &'w Solution,
    branches: &'w [Branch],
    parts: &'w [std::ops::Range<usize>],
    ids: &'w [BranchId],
    earth: BranchId,
}

impl Solved<'_> {
    /// What a meter at the plug shows.
    pub fn plug(&self) -> crate::Plug {
        self.solution.plug()
    }

    /// Current to earth, A.
    pub fn earth_current_a(&self) -> f64 {
        self.solution.current(self.earth).norm()
    }

    /// Volts of a node against the socket's neutral contact; 0 where the node floats.
    pub fn volts_of(&self, at: usize) -> f64 {
        self.solution.voltage_between(node_id(at), node_id(node::NEUTRAL)).map_or(0.0, Complex64::norm)
    }

    /// Volts between two nodes; 0 where no path joins one to the other.
    pub fn volts_between(&self, a: usize, b: usize) -> f64 {
        self.solution.voltage_between(node_id(a), node_id(b)).map_or(0.0, Complex64::norm)
    }

    /// Per branch of a part: volts, amperes and watts.
    pub fn flows(&self, part: PartId, into: &mut kind::Flows) {
        into.volts.clear();
        into.amps.clear();
        into.watts.clear();
        let range = self.parts[part].clone();
        for (branch, &id) in self.branches[range.clone()].iter().zip(&self.ids[range]) {
            let amps = self.solution.current(id);
            let drop = self.solution.drop(id);
            // Effective volts and amperes of a machine neither overflow nor vanish when squared.
            into.volts.push(if matches!(branch.ac, Path::Closed) { 0.0 } else { drop.norm_sqr().sqrt() });
            into.amps.push((amps.re, amps.im));
            into.watts.push((drop * amps.conj()).re);
        }
    }

    /// Potential of each node against the socket's neutral contact, V; none where the node floats.
    pub fn potentials(&self) -> impl Iterator<Item = Option<Complex64>> + '_ {
        self.solution.voltages_against(node_id(node::NEUTRAL))
    }

    /// Current that the plug takes in, A.
    pub fn current(&self) -> Complex64 {
        self.solution.plug_current()
    }

    /// Current from earth to the installation, A.
    pub fn earth_current(&self) -> Complex64 {
        self.solution.current(self.earth)
    }

    /// Current of each branch of a part, A.
    pub fn amps(&self, part: PartId) -> impl Iterator<Item = Complex64> + '_ {
        self.ids[self.parts[part].clone()].iter().map(|&id| self.solution.current(id))
    }

    /// How far the plug's power and current spread by the tolerances of all branches.
    pub fn spread(&self) -> Spread {
        let mut spread = Spread::default();
        for (branch, &id) in self.branches.iter().zip(self.ids) {
            if let (true, Path::Ohms { r, x }) = (branch.ac_u_rel > 0.0, branch.ac) {
                let amps = self.solution.current(id);
                spread.add(amps * amps * Complex64::new(r, x) * branch.ac_u_rel);
            }
        }
        spread
    }
}

/// Second moments of the plug's complex power under independent tolerances: sums over branches, so that parts that do
/// not touch each other simply add.
///
/// First order and exact in it: for a reciprocal network at fixed voltage, δY = −(I_b/V)² δZ_b, hence
/// δP = −Re(I_b² δZ_b) with the supply's voltage as the real axis (Tellegen's theorem; Director & Rohrer 1969,
/// from memory). Tolerances of different branches are taken as independent, JCGM 100, 5.1.2.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// Variance of the real part, W².
    pub re_re: f64,
    /// Covariance of real and imaginary part.
    pub re_im: f64,
    /// Variance of the imaginary part.
    pub im_im: f64,
}

impl Spread {
    /// Adds a branch's change of power by one standard uncertainty.
    fn add(&mut self, change: Complex64) {
        self.re_re += change.re * change.re;
        self.re_im += change.re * change.im;
        self.im_im += change.im * change.im;
    }

    /// Standard uncertainty of the plug's active power, W.
    pub fn power_u_w(&self) -> f64 {
        self.re_re.max(0.0).sqrt()
    }

    /// Standard uncertainty of the plug's current, A: that of the power along the current's direction, over the volts.
    pub fn current_u_a(&self, plug: &crate::Plug, volts: f64) -> f64 {
        if plug.current_a == 0.0 || volts == 0.0 {
            return 0.0;
        }
        let cos = plug.power_factor.unwrap_or(1.0).clamp(-1.0, 1.0);
        let sin = (1.0 - cos * cos).sqrt();
        let variance = cos * cos * self.re_re - 2.0 * cos * sin * self.re_im + sin * sin * self.im_im;
        variance.max(0.0).sqrt() / volts
    }
}

/// Names are compared far more often than they differ, and mostly are one and the same.
fn same_name(a: &'static str, b: &'static str) -> bool {
    std::ptr::eq(a, b) || a == b
}

fn node_id(at: usize) -> NodeId {
    NodeId(u32::try_from(at).unwrap_or(u32::MAX))
}

/// The node at an end of a part's branch; `None` for an optional terminal that is free.
pub fn end_of(part: &machine::model::Part, name: &str) -> Option<usize> {
    match name {
        kind::SUPPLY_LINE => Some(node::LINE),
        kind::SUPPLY_NEUTRAL => Some(node::NEUTRAL),
        kind::SUPPLY_EARTH => Some(node::EARTH),
        kind::CHASSIS => Some(node::CHASSIS),
        _ => part.kind.terminals.iter().position(|t| t.name == name).and_then(|i| part.terminals[i]),
    }
}

fn element(branch: &Branch) -> Element {
    Element { ac: impedance(branch.ac), dc: ohms(branch.dc) }
}

fn impedance(path: Path) -> Impedance {
    match path {
        Path::Open => Impedance::Open,
        Path::Closed => Impedance::Short,
        Path::Ohms { r, x } => Impedance::Ohms(Complex64::new(r, x)),
    }
}

fn ohms(path: Path) -> Resistance {
    match path {
        Path::Open => Resistance::Open,
        Path::Closed => Resistance::Ohms(0.0),
        Path::Ohms { r, .. } => Resistance::Ohms(r),
    }
}
