//! How far down each block stands. Boards first, pin by pin, each pin with room for what hangs on it; then the supply
//! and the loads, as close as can be to the line that leads to them.

use crate::graph::{Block, Graph, Side, What};
use crate::symbols::Symbol;
use std::collections::{BTreeMap, BTreeSet};

/// Height above a block's first port that its label needs, px.
const ABOVE: i32 = 26;
/// Height below its last port, px.
const BELOW: i32 = 14;
/// Height of an earth symbol below a block, px.
const EARTH: i32 = 26;
/// Half the height of a pin, px.
pub(crate) const PIN_HALF: i32 = 9;
/// Smallest distance of two lines, px.
const STEP: i32 = 10;
/// Distance of the pins of one connector where nothing larger hangs on them, px.
const PITCH: i32 = 20;
/// Furthest that a block is pushed down to find room, in steps: far above what the largest machine file can ask for.
const TRIES: i32 = 100_000;

/// A graph with the heights of its blocks set.
#[derive(Debug)]
pub(crate) struct Placed {
    pub(crate) graph: Graph,
    /// Upper and lower edge of each board.
    pub(crate) boards: Vec<(i32, i32)>,
    /// Lowest point of any block.
    pub(crate) bottom: i32,
}

/// Estimated width of a text of this size in a common sans-serif face, px.
pub(crate) fn text_width(text: &str, size: f64) -> i32 {
    (text.chars().count() as f64 * size * 0.6).ceil() as i32
}

/// Is it a symbol on one line, with a port at each end?
pub(crate) fn in_line(block: &Block) -> bool {
    matches!(&block.ports[..], [a, b] if a.side != b.side)
}

/// Do both its ports lie at one edge, with the symbol upright between them?
pub(crate) fn upright(block: &Block) -> bool {
    matches!(&block.ports[..], [a, b] if a.side == b.side)
        && !matches!(block.symbol, Symbol::Box | Symbol::Plug)
}

/// Width that a block needs, px.
pub(crate) fn width(block: &Block) -> i32 {
    if block.what == What::Pin {
        return text_width(&block.label, 11.0) + 12;
    }
    let longest = |side| {
        block.ports.iter().filter(|p| p.side == side).map(|p| text_width(&p.label, 10.0)).max().unwrap_or(0)
    };
    let body = if in_line(block) { 50 } else { 44 };
    let leads = 2 * (longest(Side::Left).max(longest(Side::Right)) + 6).max(12);
    (text_width(&block.label, 11.0) + 4).max(body + leads)
}

pub(crate) fn above(block: &Block) -> i32 {
    if block.what == What::Pin { PIN_HALF } else { ABOVE }
}

/// Lowest port below the first, px.
pub(crate) fn depth(block: &Block) -> i32 {
    block.ports.iter().map(|p| p.dy).max().unwrap_or(0)
}

pub(crate) fn below(block: &Block) -> i32 {
    let earth = if block.earths.is_empty() { 0 } else { EARTH };
    if block.what == What::Pin { PIN_HALF } else { depth(block) + BELOW + earth }
}

/// How often the pins are moved apart to make what hangs on them level with them.
const ROUNDS: usize = 64;
/// Above so many blocks one round must do: nobody reads such a sheet line by line.
const MANY: usize = 1_000;

/// A pin, and by how much it should move down.
type Short = (usize, i32);

/// What is taken: stretches of each column, and heights of each channel with the net that runs there.
#[derive(Default)]
struct Taken {
    columns: BTreeMap<usize, Vec<(i32, i32)>>,
    channels: BTreeMap<(usize, i32), usize>,
    /// The first pin whose block found no room level with it.
    short: Option<Short>,
}

impl Taken {
    fn free(&self, block: &Block, y: i32) -> bool {
        let (top, bottom) = (y - above(block), y + below(block));
        let column = self.columns.get(&block.column).map_or(&[][..], Vec::as_slice);
        column.iter().all(|&(a, b)| bottom <= a || top >= b)
            && block.ports.iter().all(|p| {
                self.channels.get(&(channel(block, p.side), y + p.dy)).is_none_or(|&net| net == p.net)
            })
    }

    fn take(&mut self, block: &mut Block, y: i32) {
        block.y = y;
        self.columns.entry(block.column).or_default().push((y - above(block), y + below(block)));
        for p in &block.ports {
            self.channels.insert((channel(block, p.side), y + p.dy), p.net);
        }
    }

    /// Puts a block at the first free height from `wish` down.
    fn settle(&mut self, block: &mut Block, wish: i32) {
        let y = (0..TRIES).map(|i| wish + i * STEP).find(|&y| self.free(block, y)).unwrap_or(wish);
        self.take(block, y);
    }

    /// Puts blocks at their wishes, the highest first. A second block on the same pin goes below without complaint.
    fn settle_all(&mut self, graph: &mut Graph, mut wishes: Vec<(i32, usize, Option<usize>)>) {
        wishes.sort_unstable();
        let mut seen = BTreeSet::new();
        for (wish, i, pin) in wishes {
            self.settle(&mut graph.blocks[i], wish);
            let lack = graph.blocks[i].y - wish;
            if let Some(pin) = pin.filter(|&pin| seen.insert(pin) && lack > 0 && self.short.is_none()) {
                self.short = Some((pin, lack));
            }
        }
    }
}

/// The channel left of column `c` has number `c`.
pub(crate) fn channel(block: &Block, side: Side) -> usize {
    block.column + usize::from(side == Side::Right)
}

/// Sets the height of every block: again and again with more room between the pins, until all rows are straight.
pub(crate) fn place(mut graph: Graph) -> Placed {
    let mut gaps = BTreeMap::new();
    let rounds = if graph.blocks.len() > MANY { 1 } else { ROUNDS };
    let mut boards = Vec::new();
    for _ in 0..rounds {
        for block in &mut graph.blocks {
            block.y = 0;
        }
        let (edges, short) = place_once(&mut graph, &gaps);
        boards = edges;
        let Some((pin, lack)) = short else { break };
        *gaps.entry(pin).or_default() += lack;
    }
    let lowest = boards.last().map_or(0, |b: &(i32, i32)| b.1 + 20);
    let bottom = graph.blocks.iter().map(|b| b.y + below(b)).max().unwrap_or(0).max(lowest);
    Placed { graph, boards, bottom }
}

/// Places all blocks with these gaps above pins; gives the edges of the boards and the pin that wants more room.
fn place_once(graph: &mut Graph, gaps: &BTreeMap<usize, i32>) -> (Vec<(i32, i32)>, Option<Short>) {
    let mut taken = Taken::default();
    let mut boards = Vec::new();
    let mut top = 60;
    for board in 0..graph.boards.len() {
        let bottom = place_board(graph, board, top, gaps, &mut taken);
        boards.push((top, bottom));
        top = bottom + 50;
    }
    let (feed, columns) = (graph.feed_column, graph.columns);
    for column in (feed + 3..columns).chain((0..feed).rev()) {
        place_column(graph, column, &mut taken);
    }
    (boards, taken.short)
}

/// Places the blocks of one board; gives its lower edge.
fn place_board(
    graph: &mut Graph,
    board: usize,
    top: i32,
    gaps: &BTreeMap<usize, i32>,
    taken: &mut Taken,
) -> i32 {
    let feed = graph.feed_column;
    let of = |column: usize| -> Vec<usize> {
        (0..graph.blocks.len())
            .filter(|&i| graph.blocks[i].board == Some(board) && graph.blocks[i].column == column)
            .collect()
    };
    let (left, inside, right) = (of(feed), of(feed + 1), of(feed + 2));
    // Half a step off, so that no feeding pin is ever level with a line on the other side of its channel.
    let mut y = top + 45;
    for i in left {
        taken.take(&mut graph.blocks[i], y);
        y += PITCH;
    }
    let mut start = top + 50;
    let (driving, resting): (Vec<usize>, Vec<usize>) =
        inside.into_iter().partition(|&i| graph.blocks[i].ports.iter().any(|p| p.side == Side::Right));
    for i in resting {
        taken.settle(&mut graph.blocks[i], start);
        start = graph.blocks[i].y + below(&graph.blocks[i]) + ABOVE;
    }
    place_pins(graph, &right, start, gaps, taken);
    let mut wishes = Vec::new();
    for i in driving {
        let at = align(graph, i, &right, Side::Right);
        wishes.push(at.map_or((start, i, None), |(y, pin)| (y, i, Some(pin))));
    }
    taken.settle_all(graph, wishes);
    let mine = graph.blocks.iter().filter(|b| b.board == Some(board));
    mine.map(|b| b.y + below(b)).max().unwrap_or(y).max(y) + 10
}

/// The leaving pins, each with room for the board's side and the row of loads on it.
fn place_pins(graph: &mut Graph, pins: &[usize], start: i32, gaps: &BTreeMap<usize, i32>, taken: &mut Taken) {
    let neighbours: Vec<BTreeSet<usize>> = pins.iter().map(|&i| touching(graph, i)).collect();
    let mut y = start;
    for (k, &i) in pins.iter().enumerate() {
        y += gaps.get(&i).copied().unwrap_or(0);
        taken.take(&mut graph.blocks[i], y);
        let Some(next) = neighbours.get(k + 1) else { break };
        let shared: Vec<usize> = neighbours[k].intersection(next).copied().collect();
        let upright_pair =
            shared.iter().any(|&b| graph.blocks[b].ports.len() == 2 && !in_line(&graph.blocks[b]));
        let down = |b: &usize| {
            let block = &graph.blocks[*b];
            let rows = block.ports.iter().filter(|p| p.side == Side::Left).map(|p| p.dy).max().unwrap_or(0);
            below(block) - if block.column > graph.feed_column + 1 { rows } else { depth(block) }
        };
        let needs = neighbours[k].difference(next).map(down).max().unwrap_or(0);
        let begins = if next.difference(&neighbours[k]).next().is_some() { ABOVE } else { 0 };
        let pitch = if upright_pair { 40 } else { PITCH };
        y += pitch.max((needs + begins + STEP - 1) / STEP * STEP);
    }
}

/// Blocks in the row of a pin: what it joins on the board, and the chain of loads on it.
fn touching(graph: &Graph, pin: usize) -> BTreeSet<usize> {
    let mut found = BTreeSet::new();
    let mut nets: Vec<usize> = graph.blocks[pin].ports.iter().map(|p| p.net).collect();
    while let Some(net) = nets.pop() {
        let on: Vec<usize> = (0..graph.blocks.len())
            .filter(|&i| {
                graph.blocks[i].what != What::Pin && graph.blocks[i].ports.iter().any(|p| p.net == net)
            })
            .filter(|&i| graph.blocks[i].column > graph.feed_column)
            .collect();
        if on.len() > 2 {
            continue;
        }
        for i in on {
            if found.insert(i) && in_line(&graph.blocks[i]) && graph.blocks[i].column > graph.feed_column + 2
            {
                nets.extend(graph.blocks[i].ports.iter().filter(|p| p.side == Side::Right).map(|p| p.net));
            }
        }
    }
    found
}

/// Height at which the first port of `block` on `side` is level with the pin that it joins, and that pin; its other ports follow
/// their pins where these are in order and no other block's pin lies between.
fn align(graph: &mut Graph, block: usize, pins: &[usize], side: Side) -> Option<(i32, usize)> {
    let mut place_of: BTreeMap<usize, (usize, i32)> = BTreeMap::new();
    for (k, &i) in pins.iter().enumerate() {
        for p in graph.blocks[i].ports.iter().filter(|p| p.side != side) {
            place_of.entry(p.net).or_insert((k, graph.blocks[i].y));
        }
    }
    let mut ports: Vec<usize> =
        (0..graph.blocks[block].ports.len()).filter(|&p| graph.blocks[block].ports[p].side == side).collect();
    ports.sort_by_key(|&p| {
        place_of.get(&graph.blocks[block].ports[p].net).copied().unwrap_or((usize::MAX, 0))
    });
    let places: Vec<(usize, i32)> =
        ports.iter().filter_map(|&p| place_of.get(&graph.blocks[block].ports[p].net).copied()).collect();
    let &(pin, first) = places.first()?;
    let together = places.len() == ports.len() && places.windows(2).all(|w| w[1].0 == w[0].0 + 1);
    let compact: Vec<i32> = ports.iter().enumerate().map(|(n, _)| n as i32 * PITCH).collect();
    let pair = upright(&graph.blocks[block]);
    for (n, &p) in ports.iter().enumerate() {
        let dy = if together {
            places[n].1 - first
        } else if pair {
            n as i32 * 40
        } else {
            compact[n]
        };
        graph.blocks[block].ports[p].dy = dy;
    }
    Some((first, pins[pin]))
}

/// A column of the supply or of loads, each block level with what it hangs on.
fn place_column(graph: &mut Graph, column: usize, taken: &mut Taken) {
    let load = column > graph.feed_column;
    let (side, towards) = if load { (Side::Left, column - 1) } else { (Side::Right, column + 1) };
    let mut near: Vec<usize> =
        (0..graph.blocks.len()).filter(|&j| graph.blocks[j].column == towards).collect();
    near.sort_by_key(|&j| graph.blocks[j].y);
    let at_pins = load && near.iter().all(|&j| graph.blocks[j].what == What::Pin);
    let here: Vec<usize> = (0..graph.blocks.len()).filter(|&i| graph.blocks[i].column == column).collect();
    let mut wishes = Vec::new();
    for i in here {
        let aligned = if at_pins { align(graph, i, &near, side) } else { None };
        wishes.push(match aligned {
            Some((y, pin)) => (y, i, Some(pin)),
            None => (level(graph, i, side).unwrap_or(105), i, None),
        });
    }
    taken.settle_all(graph, wishes);
}

/// Height at which a port of `block` is level with a port of a placed block on the same net.
fn level(graph: &Graph, block: usize, side: Side) -> Option<i32> {
    let b = &graph.blocks[block];
    let placed = |other: &&Block| other.y > 0 && other.column != b.column;
    b.ports.iter().filter(|p| p.side == side).find_map(|p| {
        let nearest = graph
            .blocks
            .iter()
            .filter(placed)
            .filter(|o| o.ports.iter().any(|q| q.net == p.net))
            .min_by_key(|o| o.column.abs_diff(b.column))?;
        nearest.ports.iter().find(|q| q.net == p.net).map(|q| nearest.y + q.dy - p.dy)
    })
}
