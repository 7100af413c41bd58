//! What a multimeter shows between two points of the dead machine, healthy and under every single fault.

use crate::bits::Bits;
use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::modes::takes_away;
use crate::moment::Solver;
use crate::reach::{Behind, Edge, edges};
use crate::shared::Fault;
use crate::step::State;
use circuit::Resistance;
use machine::diagnostic::nearest;
use machine::kind::Path;
use machine::model::{Machine, NodeId};
use rustc_hash::FxHashMap;
use smallvec::SmallVec;
use std::sync::Arc;

/// What an ohmmeter shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ohms {
    /// Over range: no path.
    Open,
    /// Ohms, with the relative standard uncertainty of the tolerances of the parts in reach.
    Ohms {
        /// Resistance, Ω.
        value: f64,
        /// Standard uncertainty, Ω.
        u: f64,
    },
}

/// Above this a common multimeter shows over-range, Ω (common practice, no source).
const OVER_RANGE_FROM_OHM: f64 = 40e6;

/// A wire's and contact's own resistance that an ohmmeter cannot tell from none, Ω.
const CONTACT_U_OHM: f64 = 0.2;

/// Hypotheses that read the same.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingGroup {
    /// The common reading.
    pub reads: Ohms,
    /// The hypotheses, healthy first.
    pub hypotheses: Vec<Hypothesis>,
}

/// Why a measurement cannot be worked out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EndError {
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

/// Finds the node that a person names: `J2.1` (the loom's side), `J2.1@board`, `element.1` (the part's own tab, also with
/// the wire pulled off it), a net, `chassis`.
pub fn find_node(machine: &Machine, name: &str) -> Result<NodeId, EndError> {
    if let Some(node) = machine.node(&format!("{name}@part")).or_else(|| machine.node(name)) {
        return Ok(node);
    }
    // A terminal on the board has no tab of its own: the part knows its node.
    let terminal = name.split_once('.').and_then(|(part, terminal)| {
        let part = &machine.parts[machine.part(part)?];
        part.terminals[part.kind.terminals.iter().position(|t| t.name == terminal)?]
    });
    terminal.ok_or_else(|| EndError {
        message: format!("this machine has no point `{name}`"),
        remedy: match nearest(name, machine.nodes.iter().map(String::as_str)) {
            Some(near) => format!("did you mean {near}?"),
            None => {
                "write a pin (J2.1), a terminal (element.1) or a net; `wattmend machine show FILE` lists them"
                    .to_owned()
            }
        },
    })
}

/// What an ohmmeter shows between two points under one hypothesis, with these connectors or tabs open.
pub fn ohms_between(
    machine: &Machine,
    hypothesis: &Hypothesis,
    (a, b): (&str, &str),
    unplugged: &[String],
) -> Result<Ohms, EndError> {
    let mut meter = Ohmmeter::new(machine, (a, b), unplugged)?;
    Ok(meter.read(hypothesis))
}

/// All readings between two points: healthy and every single fault, grouped by equal reading, healthy's group first,
/// then by how many faults share it.
pub fn between(
    machine: &Machine,
    (a, b): (&str, &str),
    unplugged: &[String],
) -> Result<Vec<ReadingGroup>, EndError> {
    let mut meter = Ohmmeter::new(machine, (a, b), unplugged)?;
    let mut groups: Vec<ReadingGroup> = Vec::new();
    let singles = machine.single_faults().map(|fault| Hypothesis::of([fault]));
    for hypothesis in std::iter::once(Hypothesis::healthy()).chain(singles) {
        let reads = meter.read(&hypothesis);
        match groups.iter_mut().find(|g| same(g.reads, reads)) {
            Some(group) => group.hypotheses.push(hypothesis),
            None => groups.push(ReadingGroup { reads, hypotheses: vec![hypothesis] }),
        }
    }
    if groups.len() > 1 {
        groups[1..].sort_by_key(|g| g.hypotheses.len());
    }
    Ok(groups)
}

fn same(a: Ohms, b: Ohms) -> bool {
    match (a, b) {
        (Ohms::Open, Ohms::Open) => true,
        (Ohms::Ohms { value: x, .. }, Ohms::Ohms { value: y, .. }) => {
            (x - y).abs() <= 1e-6 * (1.0 + x.abs().max(y.abs()))
        }
        _ => false,
    }
}

/// An ohmmeter with its probes set, for any number of hypotheses.
///
/// What it shows depends only on the parts whose paths can lie between the probes, so that each reading is worked out
/// once for all hypotheses that agree on those.
#[derive(Clone)]
pub struct Ohmmeter<'m> {
    solver: Solver<'m>,
    state: State,
    a: NodeId,
    b: NodeId,
    way: Behind,
    paths: Arc<[Edge]>,
    takes_away: Arc<[Vec<bool>]>,
    known: FxHashMap<SmallVec<[Fault; 3]>, Ohms>,
}

impl<'m> Ohmmeter<'m> {
    /// Between two points as [`find_node`] takes them, with these connectors or tabs open.
    ///
    /// # Errors
    /// A point that the machine does not have, or a name that opens nothing.
    pub fn new(machine: &'m Machine, points: (&str, &str), unplugged: &[String]) -> Result<Self, EndError> {
        Self::with(machine, points, unplugged, || (edges(machine).into(), takes_away(machine).into()))
    }

    /// The same meter between two other points: what is known of the machine needs not be worked out again.
    ///
    /// # Errors
    /// As [`Ohmmeter::new`].
    pub fn moved_to(&self, points: (&str, &str), unplugged: &[String]) -> Result<Self, EndError> {
        let known = || (Arc::clone(&self.paths), Arc::clone(&self.takes_away));
        Self::with(self.solver.machine, points, unplugged, known)
    }

    fn with(
        machine: &'m Machine,
        (a, b): (&str, &str),
        unplugged: &[String],
        of_machine: impl FnOnce() -> (Arc<[Edge]>, Arc<[Vec<bool>]>),
    ) -> Result<Self, EndError> {
        let (a, b) = (find_node(machine, a)?, find_node(machine, b)?);
        for name in unplugged {
            if !machine.joints.iter().any(|j| j.opens_with == *name || j.name == *name) {
                return Err(EndError {
                    message: format!("nothing called `{name}` can be unplugged"),
                    remedy: match nearest(name, machine.unpluggable()) {
                        Some(near) => format!("did you mean {near}?"),
                        None => {
                            "name a connector (J2) or a terminal whose tab you pull (element.1)".to_owned()
                        }
                    },
                });
            }
        }
        let mut solver = Solver::of_dead(machine);
        solver.wiring.pull_plug();
        solver.wiring.unplug(unplugged);
        let state = State::start(&Conditions::at(machine.plate.supply_v));
        let (paths, takes_away) = of_machine();
        let way = Behind::between(machine, &paths, &[a, b]);
        Ok(Ohmmeter { solver, state, a, b, way, paths, takes_away, known: FxHashMap::default() })
    }

    /// What it shows under a hypothesis.
    pub fn read(&mut self, hypothesis: &Hypothesis) -> Ohms {
        let adds = |&(part, mode): &Fault| self.way.around.has(part) && !self.takes_away[part][mode];
        // A leak or a chafed wire can bring any part in reach onto the way.
        let in_reach =
            if hypothesis.faults().iter().any(adds) { &self.way.around } else { &self.way.on_the_way };
        let faults: SmallVec<[Fault; 3]> =
            hypothesis.faults().iter().filter(|f| in_reach.has(f.0)).copied().collect();
        if let Some(&known) = self.known.get(&faults) {
            return known;
        }
        let modes = Hypothesis::of(faults.iter().copied()).modes(self.solver.machine);
        self.solver.dead(&modes, &self.state);
        let reads = match self.solver.wiring.resistance(self.a, self.b) {
            Resistance::Ohms(value) if value < OVER_RANGE_FROM_OHM => {
                let u = (self.tolerance(in_reach, value) * value).hypot(CONTACT_U_OHM / 3f64.sqrt());
                Ohms::Ohms { value, u }
            }
            _ => Ohms::Open,
        };
        self.known.insert(faults, reads);
        reads
    }

    /// The largest tolerance among branches in reach whose ohms are near the reading or share in it: a bound, not a sum,
    /// since one part dominates nearly every reading a technician takes.
    fn tolerance(&self, in_reach: &Bits, value: f64) -> f64 {
        let mut largest: f64 = 0.0;
        for part in in_reach.iter() {
            for branch in self.solver.wiring.branches(part) {
                if let Path::Ohms { r, .. } = branch.dc
                    && r > 0.5 * value
                    && r < 20.0 * value
                {
                    largest = largest.max(branch.u_rel.min(0.3));
                }
            }
        }
        largest
    }
}
