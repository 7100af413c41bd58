//! Star–mesh elimination: solving a network node by node without ever forming a difference of large numbers.
//!
//! Taking out a node k with arms of admittance `y_i` to its neighbours joins each pair of them by
//! `y_i·y_j / S`, `S = Σ y_i` (Rosen's transformation, 1924). That is Gaussian elimination of the nodal equations with
//! one change: `S` is summed anew from the arms instead of being carried along the diagonal, where a leak of 10⁻⁸ S beside
//! a wire of 10³ S would drown. For resistive networks there is then no subtraction at all, so every result is good to
//! a few units in the last place however far the impedances lie apart (Grassmann, Taksar and Heyman, 1985, for Markov
//! chains, which have the same matrices). Both cited from memory; what holds it is `tests/twins.rs`.
//!
//! On the way back it is not potentials that are computed first but drops along edges: `d_ki = Σ_j p_j·d_ji + J_k/S` with
//! `p_j = y_j/S`. All edges that this needs exist, since taking out k has joined all its neighbours. So the nanovolts that a
//! leak drops along a wire are no difference of two 230 V.

use num_complex::Complex64;

const ZERO: Complex64 = Complex64::new(0.0, 0.0);
/// A node whose admittances cancel by more than this waits until others are gone: costs at most three digits of sixteen.
const CANCELLING: f64 = 1e-3;
/// What is left of a sum at this share of its terms is rounding, not admittance.
const CANCELLED: f64 = 1e-12;

#[derive(Clone, Copy, Debug)]
struct Arm {
    node: u32,
    edge: u32,
}

#[derive(Clone, Copy, Debug)]
struct Edge {
    /// Admittance in S; once one end is taken out, that end's share `y/S`.
    admittance: Complex64,
    /// Potential of `tail` less that of the other end, once excited.
    drop: Complex64,
    tail: u32,
}

/// A node taken out: its arms stay in `Mesh::arms`, `Mesh::pairs[first_pair..]` holds the edges that replaced them.
#[derive(Clone, Copy, Debug)]
struct Step {
    node: u32,
    first_pair: u32,
    inverse_total: Complex64,
}

/// A node whose admittances cancel, so that no voltage can be given.
#[derive(Debug)]
pub(crate) struct Cancelled {
    pub(crate) node: u32,
}

/// The reduced network with its buffers; reused from solve to solve so that nothing is allocated once warm.
#[derive(Clone, Debug, Default)]
pub(crate) struct Mesh {
    count: usize,
    arms: Vec<Vec<Arm>>,
    edges: Vec<Edge>,
    /// Current fed into each node from outside, A.
    pub(crate) injected: Vec<Complex64>,
    /// Potential of each node against the root of its island, V.
    pub(crate) potential: Vec<Complex64>,
    /// Nodes with equal numbers have a defined voltage between them; the poles are in island 0.
    pub(crate) island: Vec<u32>,
    waiting: Vec<u32>,
    steps: Vec<Step>,
    pairs: Vec<u32>,
}

impl Mesh {
    /// Forgets all; `count` nodes without edges.
    pub(crate) fn reset(&mut self, count: usize) {
        self.count = count;
        if self.arms.len() < count {
            self.arms.resize_with(count, Vec::new);
        }
        self.arms[..count].iter_mut().for_each(Vec::clear);
        self.edges.clear();
        self.steps.clear();
        self.pairs.clear();
        refill(&mut self.injected, count, ZERO);
        refill(&mut self.potential, count, ZERO);
        refill(&mut self.island, count, 0);
    }

    /// Adds an admittance between two different nodes and gives the edge that now carries it, parallel ones summed.
    pub(crate) fn connect(&mut self, a: u32, b: u32, admittance: Complex64) -> u32 {
        let (near, far) =
            if self.arms[a as usize].len() <= self.arms[b as usize].len() { (a, b) } else { (b, a) };
        if let Some(arm) = self.arms[near as usize].iter().find(|arm| arm.node == far) {
            self.edges[arm.edge as usize].admittance += admittance;
            return arm.edge;
        }
        let edge = self.edges.len() as u32;
        self.edges.push(Edge { admittance, drop: ZERO, tail: a });
        self.arms[a as usize].push(Arm { node: b, edge });
        self.arms[b as usize].push(Arm { node: a, edge });
        edge
    }

    /// Admittance of an edge, in S.
    pub(crate) fn admittance(&self, edge: u32) -> Complex64 {
        self.edges[edge as usize].admittance
    }

    /// Potential of `node` less that of the edge's other end, in V.
    pub(crate) fn drop_from(&self, node: u32, edge: u32) -> Complex64 {
        let edge = &self.edges[edge as usize];
        if edge.tail == node { edge.drop } else { -edge.drop }
    }

    /// Takes out all nodes but the poles, fewest arms first.
    pub(crate) fn reduce(&mut self, poles: &[u32]) -> Result<(), Cancelled> {
        self.waiting.clear();
        for node in 0..self.count as u32 {
            if poles.contains(&node) {
                continue;
            }
            if self.arms[node as usize].is_empty() {
                self.island[node as usize] = node + 1;
            } else {
                self.waiting.push(node);
            }
        }
        while !self.waiting.is_empty() {
            let (place, total) = self.next()?;
            let node = self.waiting.swap_remove(place);
            self.take_out(node, total);
        }
        Ok(())
    }

    /// The waiting node with fewest arms among those whose admittances do not cancel: its place and their sum.
    fn next(&self) -> Result<(usize, Complex64), Cancelled> {
        let mut best: Option<(usize, Complex64)> = None;
        let mut fewest = usize::MAX;
        let mut least_cancelled = (0, ZERO, -1.0);
        for (place, &node) in self.waiting.iter().enumerate() {
            let degree = self.arms[node as usize].len();
            if degree >= fewest {
                continue;
            }
            let (total, kept) = self.total(node);
            if kept >= CANCELLING {
                best = Some((place, total));
                fewest = degree;
                if degree <= 2 {
                    break; // Replaced by one edge at most: no other choice leaves fewer.
                }
            } else if kept > least_cancelled.2 {
                least_cancelled = (place, total, kept);
            }
        }
        match (best, least_cancelled) {
            (Some(found), _) => Ok(found),
            (None, (place, total, kept)) if kept > CANCELLED => Ok((place, total)),
            (None, (place, ..)) => Err(Cancelled { node: self.waiting[place] }),
        }
    }

    /// Sum of a node's admittances, and the share of their sizes that is left in it.
    fn total(&self, node: u32) -> (Complex64, f64) {
        let arms = &self.arms[node as usize];
        if arms.is_empty() {
            return (ZERO, 1.0);
        }
        let (mut total, mut sizes) = (ZERO, 0.0);
        for arm in arms {
            let admittance = self.edges[arm.edge as usize].admittance;
            total += admittance;
            sizes += admittance.l1_norm();
        }
        (total, total.l1_norm() / sizes)
    }

    fn take_out(&mut self, node: u32, total: Complex64) {
        let arms = std::mem::take(&mut self.arms[node as usize]);
        let first_pair = self.pairs.len() as u32;
        if arms.is_empty() {
            self.island[node as usize] = node + 1;
        }
        for arm in &arms {
            let theirs = &mut self.arms[arm.node as usize];
            if let Some(place) = theirs.iter().position(|back| back.node == node) {
                theirs.swap_remove(place);
            }
        }
        let inverse_total = inverse(total);
        let injected = self.injected[node as usize];
        for (place, arm) in arms.iter().enumerate() {
            let share = self.edges[arm.edge as usize].admittance * inverse_total;
            for other in &arms[place + 1..] {
                let joining = share * self.edges[other.edge as usize].admittance;
                let edge = self.connect(arm.node, other.node, joining);
                self.pairs.push(edge);
            }
            self.edges[arm.edge as usize].admittance = share;
            self.injected[arm.node as usize] += injected * share;
        }
        self.arms[node as usize] = arms;
        self.steps.push(Step { node, first_pair, inverse_total });
    }

    /// Applies a voltage along the edge between the poles; then [`settle`](Self::settle) gives all else.
    pub(crate) fn excite(&mut self, pole_edge: u32, plus: u32, volts: f64) {
        let edge = &mut self.edges[pole_edge as usize];
        edge.drop = Complex64::new(if edge.tail == plus { volts } else { -volts }, 0.0);
        self.potential[plus as usize] = Complex64::new(volts, 0.0);
    }

    /// Puts the nodes back in reverse order, each with the drops along its arms.
    pub(crate) fn settle(&mut self) {
        for step in (0..self.steps.len()).rev() {
            self.put_back(self.steps[step]);
        }
    }

    fn put_back(&mut self, step: Step) {
        let Step { node, first_pair, inverse_total } = step;
        let arms = &self.arms[node as usize];
        let own = self.injected[node as usize] * inverse_total;
        for arm in arms {
            let edge = &mut self.edges[arm.edge as usize];
            edge.drop = own;
            edge.tail = node;
        }
        let mut pair = first_pair as usize;
        for (place, arm) in arms.iter().enumerate() {
            for other in &arms[place + 1..] {
                let between = self.drop_from(arm.node, self.pairs[pair]);
                pair += 1;
                let share = self.edges[arm.edge as usize].admittance;
                let other_share = self.edges[other.edge as usize].admittance;
                self.edges[other.edge as usize].drop += share * between;
                self.edges[arm.edge as usize].drop -= other_share * between;
            }
        }
        if let Some(arm) = arms.first() {
            let drop = self.edges[arm.edge as usize].drop;
            self.potential[node as usize] = self.potential[arm.node as usize] + drop;
            self.island[node as usize] = self.island[arm.node as usize];
        }
    }
}

/// 1/z, scaled first so that squares neither overflow nor vanish; 0 for 0 (a node without arms, which nothing reads).
fn inverse(z: Complex64) -> Complex64 {
    let size = z.l1_norm();
    if size == 0.0 {
        return ZERO;
    }
    (z / size).inv() / size
}

/// A buffer of `count` equal values; allocates only when it grows beyond all before.
pub(crate) fn refill<T: Clone>(buffer: &mut Vec<T>, count: usize, value: T) {
    buffer.clear();
    buffer.resize(count, value);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn siemens(value: f64) -> Complex64 {
        Complex64::new(value, 0.0)
    }

    #[test]
    fn star_becomes_triangle() {
        let mut mesh = Mesh::default();
        mesh.reset(4);
        let pole_edge = mesh.connect(0, 1, ZERO);
        for (tip, conductance) in [(0, 1.0), (1, 2.0), (2, 3.0)] {
            mesh.connect(3, tip, siemens(conductance));
        }
        mesh.reduce(&[0, 1, 2]).unwrap();
        assert_eq!(mesh.admittance(pole_edge), siemens(1.0 * 2.0 / 6.0));
    }

    #[test]
    fn a_wire_of_a_milliohm_keeps_its_drop_under_a_leak() {
        // 230 V across 100 MΩ behind 1 mΩ: the drop of the wire is 2.3 nV, a hundred-billionth of the supply.
        let mut mesh = Mesh::default();
        mesh.reset(3);
        let pole_edge = mesh.connect(0, 1, ZERO);
        let wire = mesh.connect(0, 2, siemens(1e3));
        mesh.connect(2, 1, siemens(1e-8));
        mesh.reduce(&[0, 1]).unwrap();
        mesh.excite(pole_edge, 0, 230.0);
        mesh.settle();
        let exact = 230.0 * 1e-3 / (1e8 + 1e-3);
        assert!((mesh.drop_from(0, wire).re / exact - 1.0).abs() < 1e-14);
        assert_eq!(mesh.drop_from(2, wire), -mesh.drop_from(0, wire));
    }

    #[test]
    fn a_cancelling_node_waits_for_the_others() {
        // 5 Ω, then coil and capacitor of 100 Ω each in a row: their common node cancels, the row is 5 Ω.
        let mut mesh = Mesh::default();
        mesh.reset(4);
        let pole_edge = mesh.connect(0, 1, ZERO);
        mesh.connect(2, 3, Complex64::new(0.0, -0.01));
        mesh.connect(3, 1, Complex64::new(0.0, 0.01));
        mesh.connect(0, 2, siemens(0.2));
        mesh.reduce(&[0, 1]).unwrap();
        assert!((mesh.admittance(pole_edge) - siemens(0.2)).norm() < 1e-15);
    }

    #[test]
    fn injected_current_divides_by_conductance() {
        let mut mesh = Mesh::default();
        mesh.reset(3);
        let straight = mesh.connect(0, 1, siemens(3.0));
        let detour = [mesh.connect(0, 2, siemens(2.0)), mesh.connect(2, 1, siemens(2.0))];
        mesh.injected[0] = siemens(4.0);
        mesh.injected[1] = siemens(-4.0);
        mesh.reduce(&[]).unwrap();
        mesh.settle();
        assert!((mesh.drop_from(0, straight) - siemens(1.0)).norm() < 1e-15);
        assert!((mesh.drop_from(0, detour[0]) - siemens(0.5)).norm() < 1e-15);
    }

    #[test]
    fn islands_are_told_apart() {
        let mut mesh = Mesh::default();
        mesh.reset(6);
        let pole_edge = mesh.connect(0, 1, ZERO);
        mesh.connect(1, 2, siemens(1.0));
        mesh.connect(3, 4, siemens(1.0));
        mesh.reduce(&[0, 1]).unwrap();
        mesh.excite(pole_edge, 0, 230.0);
        mesh.settle();
        assert_eq!(mesh.island[..3], [0, 0, 0]);
        assert_eq!(mesh.island[3], mesh.island[4]);
        assert!(mesh.island[3] != 0 && mesh.island[5] != 0 && mesh.island[3] != mesh.island[5]);
        assert_eq!(mesh.potential[2], ZERO);
    }

    #[test]
    fn inverse_survives_the_ends_of_the_range() {
        for size in [1e-300, 1e300] {
            assert!((inverse(Complex64::new(size, size)) * size - Complex64::new(0.5, -0.5)).norm() < 1e-15);
        }
    }
}
