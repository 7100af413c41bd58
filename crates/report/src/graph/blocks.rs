//! The blocks of a graph: parts of the supply, what sits on a board, its pins, the loads.

use super::{Block, Maker, Port, Side, What};
use crate::symbols::{Symbol, symbol_of};
use machine::kind::Takes;
use machine::model::{NodeId, PartId, Senses};
use machine::params::Value;
use std::collections::{BTreeMap, BTreeSet};

impl Maker<'_> {
    fn part_block(&self, p: PartId, column: usize, side: impl Fn(usize) -> Side) -> Block {
        let part = &self.machine.parts[p];
        let mut block = Block {
            what: What::Part(p),
            id: part.id.clone(),
            label: format!("{}{}", part.id, value_of(part)),
            title: format!("{}: {}", part.id, part.kind.name),
            symbol: symbol_of(part.kind.name),
            column,
            board: None,
            ports: Vec::new(),
            earths: Vec::new(),
            y: 0,
        };
        for (terminal, n) in part.kind.terminals.iter().zip(&part.terminals) {
            let Some(n) = *n else { continue };
            let net = self.net_of[n];
            let outer = self.outer.get(&n).copied().unwrap_or(n);
            if net == self.earth || net == self.chassis {
                block.earths.push(outer);
            } else {
                block.ports.push(Port {
                    net,
                    side: side(net),
                    dy: 0,
                    label: terminal.name.to_owned(),
                    node: outer,
                });
            }
        }
        spread(&mut block);
        block
    }

    pub(super) fn supply_blocks(&self, supply: &BTreeMap<PartId, usize>, blocks: &mut Vec<Block>) {
        let mut parts: Vec<(usize, PartId)> = supply.iter().map(|(&p, &d)| (d, p)).collect();
        parts.sort_unstable();
        let mut seen: BTreeSet<usize> = BTreeSet::new();
        let mut depth_now = 0;
        let mut reached: Vec<usize> = Vec::new();
        for (depth, p) in parts {
            if depth != depth_now {
                seen.extend(reached.drain(..));
                depth_now = depth;
            }
            let mut block =
                self.part_block(p, depth, |net| if seen.contains(&net) { Side::Left } else { Side::Right });
            if block.symbol == Symbol::Plug {
                let plate = &self.machine.plate;
                let volts = quantity::format(plate.supply_v, quantity::Dimension::Voltage);
                block.label = format!("{} {volts} {} Hz", block.id, plate.supply_hz);
            }
            reached.extend(self.part_nets(p));
            blocks.push(block);
        }
    }

    pub(super) fn board_blocks(&self, feed: usize, blocks: &mut Vec<Block>) {
        let left: BTreeSet<usize> =
            self.pins.iter().filter(|p| p.side == Side::Left).map(|p| self.net_of[p.inner]).collect();
        let feeds = self.feeds();
        let side =
            |net: usize| if left.contains(&net) || feeds.contains(&net) { Side::Left } else { Side::Right };
        for (b, &part) in self.boards.iter().enumerate() {
            let mut supply = self.part_block(part, feed + 1, side);
            supply.board = Some(b);
            blocks.push(supply);
            for output in self.machine.outputs.iter().filter(|o| o.board == part) {
                let mut block = self.part_block(output.part, feed + 1, side);
                block.label.clone_from(&output.name);
                if block.ports.len() == 2 {
                    block.ports.iter_mut().for_each(|p| p.label.clear());
                }
                block.board = Some(b);
                blocks.push(block);
            }
        }
        for input in &self.machine.inputs {
            let nodes: Vec<NodeId> = match &input.senses {
                Senses::Volts { node, .. } => vec![*node],
                Senses::Ohms(a, b) | Senses::Contact(a, b) => vec![*a, *b],
                Senses::Part { pins, .. } => pins.clone(),
            };
            let Some(board) =
                nodes.iter().find_map(|n| self.pins.iter().find(|p| p.inner == *n)).map(|p| p.board)
            else {
                continue;
            };
            let port = |&n: &NodeId| {
                let net = self.net_of[n];
                Port { net, side: side(net), dy: 0, label: String::new(), node: n }
            };
            let how = match &input.senses {
                Senses::Volts { .. } => "volts",
                Senses::Ohms(..) => "ohms",
                Senses::Contact(..) => "contact",
                Senses::Part { .. } => "signal",
            };
            let mut block = Block {
                what: What::Input,
                id: format!("senses.{}", input.name),
                label: format!("{} ({how})", input.name),
                title: format!("the board senses {} ({how})", input.name),
                symbol: Symbol::Box,
                column: feed + 1,
                board: Some(board),
                ports: nodes.iter().map(port).collect(),
                earths: Vec::new(),
                y: 0,
            };
            spread(&mut block);
            blocks.push(block);
        }
        for pin in &self.pins {
            let (near, far) =
                if pin.side == Side::Left { (pin.outer, pin.inner) } else { (pin.inner, pin.outer) };
            let port =
                |n: NodeId, side| Port { net: self.net_of[n], side, dy: 0, label: String::new(), node: n };
            blocks.push(Block {
                what: What::Pin,
                id: pin.name.clone(),
                label: pin.name.clone(),
                title: format!("pin {}", pin.name),
                symbol: Symbol::Box,
                column: if pin.side == Side::Left { feed } else { feed + 2 },
                board: Some(pin.board),
                ports: vec![port(near, Side::Left), port(far, Side::Right)],
                earths: Vec::new(),
                y: 0,
            });
        }
    }

    pub(super) fn load_blocks(
        &self,
        loads: &BTreeMap<PartId, usize>,
        supply: &BTreeMap<PartId, usize>,
        first: usize,
        blocks: &mut Vec<Block>,
    ) {
        let fed = self.supply_nets(supply);
        let mut dist: BTreeMap<usize, usize> =
            self.pins.iter().filter(|p| p.side == Side::Right).map(|p| (self.net_of[p.outer], 0)).collect();
        let mut parts: Vec<(usize, PartId)> = loads.iter().map(|(&p, &d)| (d, p)).collect();
        parts.sort_unstable();
        let mut load_ends = vec![0; self.nets.len()];
        for net in parts.iter().flat_map(|&(_, p)| self.part_nets(p)) {
            load_ends[net] += 1;
        }
        for (depth, p) in parts {
            let nets = self.part_nets(p);
            let driven = nets.iter().any(|n| dist.get(n).is_some_and(|&d| d <= depth));
            // A pin that several loads return to is drawn at their right, like neutral.
            let shared = match nets[..] {
                [a, b] => [a, b]
                    .into_iter()
                    .find(|&n| load_ends[n] > 1 && load_ends[n] > load_ends[a].min(load_ends[b])),
                _ => None,
            };
            let block = self.part_block(p, first + depth, |net| match dist.get(&net) {
                Some(_) if shared == Some(net) && nets.iter().all(|n| dist.get(n) == Some(&0)) => Side::Right,
                Some(&d) if d <= depth => Side::Left,
                None if !driven && fed.contains(&net) && !self.nets[net].neutral => Side::Left,
                _ => Side::Right,
            });
            for net in nets.into_iter().filter(|n| !fed.contains(n)) {
                dist.entry(net).or_insert(depth + 1);
            }
            blocks.push(block);
        }
    }
}

/// Ports of each edge below one another.
fn spread(block: &mut Block) {
    let pair = block.ports.len() == 2 && block.ports[0].side == block.ports[1].side;
    let pitch = if pair { 40 } else { 20 };
    for side in [Side::Left, Side::Right] {
        for (i, port) in block.ports.iter_mut().filter(|p| p.side == side).enumerate() {
            port.dy = i as i32 * pitch;
        }
    }
}

/// The first quantity that the kind lists and the part has, to print beside its name.
fn value_of(part: &machine::model::Part) -> String {
    let quantity =
        part.kind.params.iter().find_map(|param| match (param.takes, part.params.get(param.name)) {
            (Takes::Quantity(d) | Takes::RatedAt(d, _), Some(Value::Quantity(q) | Value::RatedAt(q, _))) => {
                Some(quantity::format(q.nominal, d))
            }
            _ => None,
        });
    quantity.map(|q| format!(" {q}")).unwrap_or_default()
}
