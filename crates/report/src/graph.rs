//! What is joined to what, as blocks in columns: supply, pins that feed a board, the board's inside, the pins that leave
//! it, then the loads by how many parts lie between them and the board.

mod blocks;

use crate::symbols::{Symbol, symbol_of};
use machine::kind::Role;
use machine::model::{Machine, NodeId, OutputId, PartId, node};
use std::collections::{BTreeMap, BTreeSet};

/// Which edge of a block a port is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Side {
    Left,
    Right,
}

/// A point of a block where a line ends.
#[derive(Clone, Debug)]
pub(crate) struct Port {
    pub(crate) net: usize,
    pub(crate) side: Side,
    /// Below the block's first port, px.
    pub(crate) dy: i32,
    pub(crate) label: String,
    /// The wire side of the terminal or pin.
    pub(crate) node: NodeId,
}

/// What a block stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum What {
    Part(PartId),
    /// A pin of a connector, by name.
    Pin,
    /// Something that the board senses.
    Input,
}

/// Something drawn: a part, a pin, what a board switches or senses.
#[derive(Clone, Debug)]
pub(crate) struct Block {
    pub(crate) what: What,
    pub(crate) id: String,
    /// Printed above it (in it, for a pin).
    pub(crate) label: String,
    pub(crate) title: String,
    pub(crate) symbol: Symbol,
    pub(crate) column: usize,
    /// Index into [`Graph::boards`] of the board that it sits on.
    pub(crate) board: Option<usize>,
    pub(crate) ports: Vec<Port>,
    /// Terminals that reach the cabinet or the earth contact.
    pub(crate) earths: Vec<NodeId>,
    /// Place of the first port, px.
    pub(crate) y: i32,
}

/// Joined nodes: one line on paper.
#[derive(Clone, Debug, Default)]
pub(crate) struct Net {
    /// The name that the file gives a free point of it, or nothing.
    pub(crate) name: String,
    pub(crate) wires: Vec<PartId>,
    pub(crate) neutral: bool,
}

/// Blocks and nets.
#[derive(Debug)]
pub(crate) struct Graph {
    pub(crate) blocks: Vec<Block>,
    pub(crate) nets: Vec<Net>,
    /// Names of the boards, in file order.
    pub(crate) boards: Vec<String>,
    /// Column of the pins that feed a board; its inside and its leaving pins follow.
    pub(crate) feed_column: usize,
    pub(crate) columns: usize,
    /// Parts without a terminal.
    pub(crate) unwired: Vec<PartId>,
}

/// A pin of a connector with its board and side.
struct Pin {
    name: String,
    inner: NodeId,
    outer: NodeId,
    board: usize,
    side: Side,
    signal: bool,
}

/// All that is looked up while blocks are made.
struct Maker<'m> {
    machine: &'m Machine,
    net_of: Vec<usize>,
    nets: Vec<Net>,
    boards: Vec<PartId>,
    output_of: BTreeMap<PartId, OutputId>,
    outer: BTreeMap<NodeId, NodeId>,
    pins: Vec<Pin>,
    earth: usize,
    chassis: usize,
}

/// Makes the graph of a machine.
pub(crate) fn build(machine: &Machine) -> Graph {
    let mut maker = Maker::new(machine);
    maker.find_pins();
    let supply = maker.supply_depths();
    let feed_column = supply.values().max().map_or(1, |d| d + 1);
    let loads = maker.load_depths(&supply);
    let mut blocks = Vec::new();
    maker.supply_blocks(&supply, &mut blocks);
    maker.board_blocks(feed_column, &mut blocks);
    maker.load_blocks(&loads, &supply, feed_column + 3, &mut blocks);
    let columns = blocks.iter().map(|b| b.column + 1).max().unwrap_or(0).max(feed_column + 3);
    let unwired = (0..machine.parts.len())
        .filter(|&p| machine.parts[p].terminals.iter().all(Option::is_none))
        .collect();
    let boards = maker.boards.iter().map(|&b| machine.parts[b].id.clone()).collect();
    Graph { blocks, nets: maker.nets, boards, feed_column, columns, unwired }
}

impl<'m> Maker<'m> {
    fn new(machine: &'m Machine) -> Self {
        let mut root: Vec<usize> = (0..machine.nodes.len()).collect();
        for part in machine.parts.iter().filter(|p| p.ends.is_some()) {
            if let [Some(a), Some(b)] = part.terminals[..] {
                unite(&mut root, a, b);
            }
        }
        for joint in machine.joints.iter().filter(|j| j.opens_with == j.name) {
            unite(&mut root, joint.inner, joint.outer);
        }
        let net_of: Vec<usize> = (0..root.len()).map(|n| find(&root, n)).collect();
        let mut nets = vec![Net::default(); root.len()];
        let mut named: BTreeMap<usize, usize> = BTreeMap::new();
        for (id, part) in machine.parts.iter().enumerate().filter(|(_, p)| p.ends.is_some()) {
            for n in part.terminals.iter().flatten() {
                if !machine.nodes[*n].contains('.') {
                    *named.entry(*n).or_default() += 1;
                }
            }
            if let Some(n) = part.terminals[0] {
                nets[net_of[n]].wires.push(id);
            }
        }
        let mut best: BTreeMap<usize, usize> = BTreeMap::new();
        for (n, count) in named {
            let net = net_of[n];
            if count > best.get(&net).copied().unwrap_or(0) {
                best.insert(net, count);
                nets[net].name.clone_from(&machine.nodes[n]);
            }
        }
        for net in nets.iter_mut().filter(|n| n.name.is_empty()) {
            if let Some((a, b)) = net.wires.first().and_then(|&w| machine.parts[w].ends.as_ref()) {
                net.name = format!("{a} – {b}");
            }
        }
        let mut boards: Vec<PartId> = machine.outputs.iter().map(|o| o.board).collect();
        boards.extend(machine.boards());
        boards.sort_unstable();
        boards.dedup();
        let (earth, chassis) = (net_of[node::EARTH], net_of[node::CHASSIS]);
        Maker {
            machine,
            nets,
            boards,
            output_of: machine.outputs.iter().enumerate().map(|(i, o)| (o.part, i)).collect(),
            outer: machine
                .joints
                .iter()
                .filter(|j| j.opens_with == j.name)
                .map(|j| (j.inner, j.outer))
                .collect(),
            pins: Vec::new(),
            earth,
            chassis,
            net_of,
        }
    }

    /// Nets that feed each board: its own supply, and whatever its outputs have in common.
    fn feeds(&self) -> BTreeSet<usize> {
        let parts = &self.machine.parts;
        let mut feeds: BTreeSet<usize> = self
            .boards
            .iter()
            .flat_map(|&b| parts[b].terminals.iter().flatten())
            .map(|&n| self.net_of[n])
            .collect();
        for output in &self.machine.outputs {
            let part = &parts[output.part];
            let nets: Vec<usize> = part.terminals.iter().flatten().map(|&n| self.net_of[n]).collect();
            let signal = part.kind.terminals.iter().all(|t| t.role == Role::Signal);
            match nets[..] {
                [a, b] if !signal && !feeds.contains(&a) && !feeds.contains(&b) => {
                    feeds.insert(a);
                }
                [l, n, _, _, _] => feeds.extend([l, n]),
                [common, _, _] => {
                    feeds.insert(common);
                }
                _ => {}
            }
        }
        feeds
    }

    fn find_pins(&mut self) {
        let feeds = self.feeds();
        let mut board_of: BTreeMap<NodeId, usize> = BTreeMap::new();
        let mut switched: BTreeSet<NodeId> = BTreeSet::new();
        for (b, &part) in self.boards.iter().enumerate() {
            let own = self.machine.outputs.iter().filter(|o| o.board == part).map(|o| o.part);
            for n in own.chain([part]).flat_map(|p| self.machine.parts[p].terminals.iter().flatten()) {
                board_of.entry(*n).or_insert(b);
                switched.insert(*n);
            }
        }
        let joints = self.machine.joints.iter().filter(|j| j.opens_with != j.name);
        // A connector that only senses has no board in the model: it goes with the one whose connectors share its letters.
        let letters = |name: &str| name.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.').to_owned();
        let by_letters: BTreeMap<String, usize> =
            joints.clone().filter_map(|j| board_of.get(&j.inner).map(|&b| (letters(&j.name), b))).collect();
        self.pins = joints
            .map(|j| Pin {
                name: j.name.clone(),
                inner: j.inner,
                outer: j.outer,
                board: *board_of.get(&j.inner).or_else(|| by_letters.get(&letters(&j.name))).unwrap_or(&0),
                side: if feeds.contains(&self.net_of[j.inner]) { Side::Left } else { Side::Right },
                signal: !switched.contains(&j.inner),
            })
            .collect();
        self.pins.sort_by_cached_key(|p| (p.board, p.signal, natural(&p.name)));
        for &b in &self.boards {
            if let Some(n) = self.machine.parts[b].terminals.get(1).copied().flatten() {
                let outer = self.pins.iter().find(|p| p.inner == n).map_or(n, |p| p.outer);
                self.nets[self.net_of[outer]].neutral = true;
            }
        }
    }

    fn is_wiring(&self, p: PartId) -> bool {
        self.machine.parts[p].ends.is_some() || self.boards.contains(&p) || self.output_of.contains_key(&p)
    }

    fn part_nets(&self, p: PartId) -> Vec<usize> {
        let nets = self.machine.parts[p].terminals.iter().flatten().map(|&n| self.net_of[n]);
        nets.filter(|&n| n != self.earth && n != self.chassis).collect()
    }

    /// Parts on the shortest ways from the plug to the pins that feed a board, with how many parts lie before each.
    fn supply_depths(&self) -> BTreeMap<PartId, usize> {
        let plugs: Vec<PartId> = (0..self.machine.parts.len())
            .filter(|&p| symbol_of(self.machine.parts[p].kind.name) == Symbol::Plug)
            .collect();
        let targets: BTreeSet<usize> =
            self.pins.iter().filter(|p| p.side == Side::Left).map(|p| self.net_of[p.outer]).collect();
        let stops: BTreeSet<usize> =
            self.pins.iter().filter(|p| p.side == Side::Right).map(|p| self.net_of[p.outer]).collect();
        let mut from: BTreeMap<usize, (PartId, Option<usize>)> = BTreeMap::new();
        let mut queue: Vec<usize> = Vec::new();
        for &plug in &plugs {
            for net in self.part_nets(plug) {
                from.insert(net, (plug, None));
                queue.push(net);
            }
        }
        let mut at = 0;
        while at < queue.len() {
            let net = queue[at];
            at += 1;
            if stops.contains(&net) || (self.nets[net].neutral && from[&net].1.is_some()) {
                continue;
            }
            for p in (0..self.machine.parts.len()).filter(|&p| !self.is_wiring(p)) {
                let nets = self.part_nets(p);
                if !nets.contains(&net) {
                    continue;
                }
                for next in nets {
                    from.entry(next).or_insert_with(|| {
                        queue.push(next);
                        (p, Some(net))
                    });
                }
            }
        }
        let mut depths: BTreeMap<PartId, usize> = plugs.iter().map(|&p| (p, 0)).collect();
        for target in targets {
            let mut way = Vec::new();
            let mut net = Some(target);
            while let Some((part, before)) = net.and_then(|n| from.get(&n)) {
                way.push(*part);
                net = *before;
            }
            for (depth, part) in way.iter().rev().enumerate() {
                let known = depths.entry(*part).or_insert(depth);
                *known = (*known).min(depth);
            }
        }
        depths
    }

    /// The other wired parts, with how many parts lie between each and a board.
    fn load_depths(&self, supply: &BTreeMap<PartId, usize>) -> BTreeMap<PartId, usize> {
        let fed = self.supply_nets(supply);
        let mut reach: BTreeSet<usize> =
            self.pins.iter().filter(|p| p.side == Side::Right).map(|p| self.net_of[p.outer]).collect();
        let mut depths = BTreeMap::new();
        let mut left: Vec<PartId> = (0..self.machine.parts.len())
            .filter(|&p| !self.is_wiring(p) && !supply.contains_key(&p) && !self.part_nets(p).is_empty())
            .collect();
        for depth in 0.. {
            let (now, later): (Vec<_>, Vec<_>) =
                left.iter().partition(|&&p| self.part_nets(p).iter().any(|n| reach.contains(n)));
            if now.is_empty() {
                // What no board pin reaches hangs on the supply alone.
                depths.extend(later.into_iter().map(|p| (p, 0)));
                break;
            }
            for p in now {
                depths.insert(p, depth);
                reach.extend(self.part_nets(p).into_iter().filter(|n| !fed.contains(n)));
            }
            left = later;
        }
        depths
    }

    fn supply_nets(&self, supply: &BTreeMap<PartId, usize>) -> BTreeSet<usize> {
        let feeding = self.pins.iter().filter(|p| p.side == Side::Left).map(|p| self.net_of[p.outer]);
        let leaving: BTreeSet<usize> =
            self.pins.iter().filter(|p| p.side == Side::Right).map(|p| self.net_of[p.outer]).collect();
        supply
            .keys()
            .flat_map(|&p| self.part_nets(p))
            .chain(feeding)
            .filter(|n| !leaving.contains(n))
            .collect()
    }
}

/// `J2.10` after `J2.9`.
fn natural(name: &str) -> Vec<(u64, String)> {
    name.split(|c: char| !c.is_ascii_alphanumeric())
        .flat_map(|piece| {
            let digits = piece.trim_start_matches(|c: char| !c.is_ascii_digit());
            let word = &piece[..piece.len() - digits.len()];
            [(0, word.to_owned()), (digits.parse().unwrap_or(0), digits.to_owned())]
        })
        .collect()
}

fn find(root: &[usize], mut n: usize) -> usize {
    while root[n] != n {
        n = root[n];
    }
    n
}

fn unite(root: &mut [usize], a: usize, b: usize) {
    let (a, b) = (find(root, a), find(root, b));
    root[a.max(b)] = a.min(b);
}
