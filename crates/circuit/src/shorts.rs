//! Shorts: nodes that they make one, and what flows in each of them.
//!
//! A short has no drop to compute its current from. Inside a merged node the currents follow from Kirchhoff's current law
//! alone where the shorts form a tree; in a loop of shorts the law leaves them open, and equal resistances are assumed,
//! which is the split with the least sum of squares.

use std::collections::VecDeque;

use num_complex::Complex64;

use crate::mesh::{Mesh, refill};
use crate::network::{Branch, Link};
use crate::{BranchId, Network, NodeId};

const ZERO: Complex64 = Complex64::new(0.0, 0.0);
const NONE: u32 = u32::MAX;

/// Merged nodes with their buffers.
#[derive(Clone, Debug, Default)]
pub(crate) struct Shorts {
    parent: Vec<u32>,
    /// Merged node of each node, numbered from 0 without gaps.
    pub(crate) merged: Vec<u32>,
    pub(crate) merged_count: usize,
    /// Branches that are shorts between two different nodes, with their ends.
    list: Vec<Short>,
    /// Shorts at each node that are not yet settled, and the exclusive or of their numbers: of one, the number itself.
    degree: Vec<u32>,
    incident: Vec<u32>,
    /// Current that reaches each node other than by shorts, A.
    pub(crate) inflow: Vec<Complex64>,
    loops: Mesh,
    loop_node: Vec<u32>,
}

/// A short between two different nodes.
#[derive(Clone, Copy, Debug)]
struct Short {
    number: u32,
    from: u32,
    to: u32,
}

impl Shorts {
    /// Finds which nodes are one.
    pub(crate) fn merge(&mut self, network: &Network, link: impl Fn(&Branch) -> Link) {
        let count = network.node_count();
        self.parent.clear();
        self.parent.extend(0..count as u32);
        self.list.clear();
        for (number, branch) in network.branches().iter().enumerate() {
            if branch.from != branch.to && matches!(link(branch), Link::Short) {
                self.list.push(Short { number: number as u32, from: branch.from.0, to: branch.to.0 });
                let (a, b) = (self.root(branch.from.0), self.root(branch.to.0));
                // The smaller number stays root, so that each root comes before all its nodes.
                self.parent[a.max(b) as usize] = a.min(b);
            }
        }
        self.number(count);
    }

    fn root(&mut self, mut node: u32) -> u32 {
        while self.parent[node as usize] != node {
            let above = self.parent[node as usize];
            self.parent[node as usize] = self.parent[above as usize];
            node = above;
        }
        node
    }

    fn number(&mut self, count: usize) {
        self.merged.clear();
        self.merged_count = 0;
        for node in 0..count {
            let above = self.parent[node] as usize;
            // What stands above a node comes before it, so that its number is known.
            let number = if above == node {
                self.merged_count += 1;
                self.merged_count as u32 - 1
            } else {
                self.merged[above]
            };
            self.merged.push(number);
        }
    }

    /// Makes ready for [`currents`](Self::currents): all inflows nought.
    pub(crate) fn reset_inflow(&mut self, count: usize) {
        refill(&mut self.inflow, count, ZERO);
    }

    /// Writes the current of every short, given the inflows.
    pub(crate) fn currents(&mut self, network: &Network, currents: &mut [Complex64]) {
        refill(&mut self.degree, network.node_count(), 0);
        refill(&mut self.incident, network.node_count(), 0);
        for (place, short) in self.list.iter().enumerate() {
            for node in [short.from as usize, short.to as usize] {
                self.degree[node] += 1;
                self.incident[node] ^= place as u32;
            }
        }
        let mut unsettled = self.list.len();
        for node in 0..network.node_count() as u32 {
            if self.degree[node as usize] == 1 {
                unsettled -= self.strip(node, currents);
            }
        }
        if unsettled > 0 {
            self.split_loops(network.node_count(), currents);
        }
    }

    /// Settles the short at a node that has one only, then its other end's, and so on; returns how many.
    fn strip(&mut self, mut node: u32, currents: &mut [Complex64]) -> usize {
        let mut settled = 0;
        while self.degree[node as usize] == 1 {
            let place = self.incident[node as usize];
            let Short { number, from, to } = self.list[place as usize];
            let other = from ^ to ^ node;
            let leaving = self.inflow[node as usize];
            currents[number as usize] = if from == node { leaving } else { -leaving };
            self.inflow[other as usize] += leaving;
            self.degree[node as usize] = 0;
            self.degree[other as usize] -= 1;
            self.incident[other as usize] ^= place;
            settled += 1;
            node = other;
        }
        settled
    }

    /// The shorts left over lie on loops or between them: solved as equal resistors of 1 Ω, where drop is current.
    fn split_loops(&mut self, nodes: usize, currents: &mut [Complex64]) {
        refill(&mut self.loop_node, nodes, NONE);
        let mut count = 0;
        for (node, &degree) in self.degree.iter().enumerate() {
            if degree > 0 {
                self.loop_node[node] = count;
                count += 1;
            }
        }
        self.loops.reset(count as usize);
        for (node, &number) in self.loop_node.iter().enumerate() {
            if number != NONE {
                self.loops.injected[number as usize] = self.inflow[node];
            }
        }
        // `degree` and `incident` have served: the edge of each short is looked up again by connecting it with nothing.
        let on_loop = |short: &Short, loop_node: &[u32]| {
            let ends = (loop_node[short.from as usize], loop_node[short.to as usize]);
            (ends.0 != NONE && ends.1 != NONE).then_some(ends)
        };
        self.incident.clear();
        for short in &self.list {
            let ends = on_loop(short, &self.loop_node);
            let edge = ends.map_or(NONE, |(from, to)| self.loops.connect(from, to, Complex64::new(1.0, 0.0)));
            self.incident.push(edge);
        }
        if self.loops.reduce(&[]).is_err() {
            return; // Not reached: equal positive conductances never cancel.
        }
        self.loops.settle();
        for (short, &edge) in self.list.iter().zip(&self.incident) {
            if edge != NONE {
                let from = self.loop_node[short.from as usize];
                currents[short.number as usize] = self.loops.drop_from(from, edge);
            }
        }
    }
}

/// A shortest way through shorts from one node to another; empty if there is none or they are the same.
pub(crate) fn path(network: &Network, from: NodeId, to: NodeId) -> Vec<BranchId> {
    let mut reached_by: Vec<Option<(BranchId, NodeId)>> = vec![None; network.node_count()];
    let mut queue = VecDeque::from([from]);
    while let Some(node) = queue.pop_front() {
        if node == to {
            break;
        }
        for (number, branch) in network.branches().iter().enumerate() {
            if !matches!(branch.mains_link(), Link::Short) {
                continue;
            }
            let other = match node {
                n if n == branch.from => branch.to,
                n if n == branch.to => branch.from,
                _ => continue,
            };
            if other != from && reached_by[other.index()].is_none() {
                reached_by[other.index()] = Some((BranchId(number as u32), node));
                queue.push_back(other);
            }
        }
    }
    let mut path = Vec::new();
    let mut node = to;
    while let Some((branch, before)) = reached_by[node.index()] {
        path.push(branch);
        node = before;
    }
    path.reverse();
    path
}
