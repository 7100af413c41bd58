//! Where the lines run: upright in the channels between columns, along above the top (fed lines) or below the bottom
//! (neutral) where a net reaches past a column. Lines of different nets cross at right angles or not at all.

use crate::graph::Side;
use crate::place::{Placed, channel, depth, text_width, width};
use std::collections::BTreeMap;

/// Distance of tracks in a channel, px.
const TRACK: i32 = 10;
/// Space between a column and the first track, px.
const MARGIN: i32 = 16;
/// Distance of the rails that run along, px.
const RAIL: i32 = 18;

/// A stretch of line, horizontal or upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Stretch {
    pub(crate) from: (i32, i32),
    pub(crate) to: (i32, i32),
}

/// The end of a line at a port.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stub {
    pub(crate) block: usize,
    pub(crate) port: usize,
    pub(crate) line: Stretch,
}

/// All lines of a net.
#[derive(Clone, Debug, Default)]
pub(crate) struct NetLines {
    pub(crate) trunks: Vec<Stretch>,
    pub(crate) stubs: Vec<Stub>,
    /// Points where more than two lines meet.
    pub(crate) dots: Vec<(i32, i32)>,
    /// Where its name stands.
    pub(crate) label: Option<(i32, i32)>,
}

/// Where everything stands.
#[derive(Debug)]
pub(crate) struct Lines {
    pub(crate) column_x: Vec<i32>,
    pub(crate) column_w: Vec<i32>,
    /// By index of the net.
    pub(crate) nets: Vec<NetLines>,
    pub(crate) top: i32,
    pub(crate) bottom: i32,
    pub(crate) width: i32,
}

/// Ports of a net by channel: block, port, height.
type ByChannel = BTreeMap<usize, Vec<(usize, usize, i32)>>;

/// Finds the lines of all nets.
pub(crate) fn route(placed: &Placed) -> Lines {
    let graph = &placed.graph;
    let mut nets: BTreeMap<usize, ByChannel> = BTreeMap::new();
    for (b, block) in graph.blocks.iter().enumerate() {
        for (p, port) in block.ports.iter().enumerate() {
            let at = (b, p, block.y + port.dy);
            nets.entry(port.net).or_default().entry(channel(block, port.side)).or_default().push(at);
        }
    }
    nets.retain(|_, by| by.values().map(Vec::len).sum::<usize>() > 1);
    let rails = rails(placed, &nets);
    let tracks = tracks(placed, &nets, &rails);
    let (column_x, column_w, right) = columns(placed, &nets, &rails, &tracks);
    let x_of = |ch: usize, track: usize| {
        let edge = if ch == 0 { 0 } else { column_x[ch - 1] + column_w[ch - 1] };
        edge + MARGIN + track as i32 * TRACK
    };
    let mut lines = vec![NetLines::default(); graph.nets.len()];
    for (&net, by) in &nets {
        let out = &mut lines[net];
        let mut on_rail = Vec::new();
        for (&ch, ports) in by {
            let rail = rails.get(&net).copied();
            let track = tracks.get(&(ch, net)).copied();
            let x = x_of(ch, track.unwrap_or(0));
            let mut heights: Vec<i32> = ports.iter().map(|p| p.2).collect();
            heights.extend(rail);
            heights.sort_unstable();
            let (first, last) = (heights[0], heights[heights.len() - 1]);
            if first != last {
                out.trunks.push(Stretch { from: (x, first), to: (x, last) });
            }
            for &(b, p, y) in ports {
                let side = graph.blocks[b].ports[p].side;
                let column = graph.blocks[b].column;
                let edge =
                    if side == Side::Left { column_x[column] } else { column_x[column] + column_w[column] };
                out.stubs.push(Stub { block: b, port: p, line: Stretch { from: (edge, y), to: (x, y) } });
                let level = ports.iter().filter(|q| q.2 == y).count();
                if first != last && ((y > first && y < last) || level > 1) {
                    out.dots.push((x, y));
                }
            }
            on_rail.extend(rail.map(|_| x));
        }
        if let (Some(&y), Some(&a), Some(&b)) = (rails.get(&net), on_rail.first(), on_rail.last()) {
            out.trunks.push(Stretch { from: (a, y), to: (b, y) });
            out.dots.extend(on_rail.iter().filter(|&&x| x != a && x != b).map(|&x| (x, y)));
            out.label = widest(by, &column_w).map(|c| (column_x[c] + 2, y - 4));
        }
        out.dots.sort_unstable();
        out.dots.dedup();
    }
    let top = rails.values().copied().min().unwrap_or(0).min(40) - 20;
    let bottom = rails.values().copied().max().unwrap_or(0).max(placed.bottom) + 12;
    Lines { column_x, column_w, nets: lines, top, bottom, width: right }
}

/// Heights of the rails of nets that reach past a column.
fn rails(placed: &Placed, nets: &BTreeMap<usize, ByChannel>) -> BTreeMap<usize, i32> {
    let middle = placed.bottom / 2;
    let (mut above, mut below) = (26, placed.bottom + RAIL);
    let mut rails = BTreeMap::new();
    let mut far: Vec<(bool, usize)> = nets
        .iter()
        .filter(|(_, by)| by.len() > 1)
        .map(|(&net, by)| {
            let heights: Vec<i32> = by.values().flatten().map(|p| p.2).collect();
            let mean = heights.iter().sum::<i32>() / heights.len().max(1) as i32;
            (placed.graph.nets[net].neutral, net, mean)
        })
        .map(|(neutral, net, mean)| (neutral || mean > middle, net))
        .collect();
    far.sort_unstable();
    for (low, net) in far {
        if low {
            rails.insert(net, below);
            below += RAIL;
        } else {
            rails.insert(net, above);
            above -= RAIL;
        }
    }
    rails
}

/// The track of each net that turns in a channel. Short ones first, so that long ones stand outside them.
fn tracks(
    placed: &Placed,
    nets: &BTreeMap<usize, ByChannel>,
    rails: &BTreeMap<usize, i32>,
) -> BTreeMap<(usize, usize), usize> {
    let mut spans: Vec<(usize, i32, usize, i32, i32)> = Vec::new();
    for (&net, by) in nets {
        for (&ch, ports) in by {
            let heights = ports.iter().map(|p| p.2).chain(rails.get(&net).copied());
            let (first, last) = heights.fold((i32::MAX, i32::MIN), |(a, b), y| (a.min(y), b.max(y)));
            if first != last {
                spans.push((ch, last - first, net, first, last));
            }
        }
    }
    spans.sort_unstable();
    let mut taken: BTreeMap<usize, Vec<Vec<(i32, i32)>>> = BTreeMap::new();
    let mut tracks = BTreeMap::new();
    for (ch, _, net, first, last) in spans {
        let rows = taken.entry(ch).or_default();
        let free = rows.iter().position(|row| row.iter().all(|&(a, b)| last + 4 < a || first - 4 > b));
        let track = free.unwrap_or(rows.len());
        if track == rows.len() {
            rows.push(Vec::new());
        }
        rows[track].push((first, last));
        tracks.insert((ch, net), track);
    }
    // Left of the boards the long lines lie nearest to the supply they come from.
    for ((ch, _), track) in &mut tracks {
        if *ch <= placed.graph.feed_column {
            *track = taken[ch].len() - 1 - *track;
        }
    }
    tracks
}

/// Left edge and width of each column, and where the drawing ends.
fn columns(
    placed: &Placed,
    nets: &BTreeMap<usize, ByChannel>,
    rails: &BTreeMap<usize, i32>,
    tracks: &BTreeMap<(usize, usize), usize>,
) -> (Vec<i32>, Vec<i32>, i32) {
    let graph = &placed.graph;
    let mut w = vec![30; graph.columns];
    for block in &graph.blocks {
        w[block.column] = w[block.column].max(width(block));
    }
    for name in &graph.boards {
        w[graph.feed_column + 1] = w[graph.feed_column + 1].max(text_width(name, 12.0) + 8);
    }
    for net in rails.keys() {
        if let Some(c) = widest(&nets[net], &w) {
            w[c] = w[c].max(text_width(&graph.nets[*net].name, 10.0) + 4);
        }
    }
    let room = |ch: usize| {
        let count = tracks.iter().filter(|((c, _), _)| *c == ch).map(|(_, &t)| t + 1).max().unwrap_or(0);
        2 * MARGIN + TRACK * (count.max(1) as i32 - 1)
    };
    let mut x = Vec::new();
    let mut at = 0;
    for (c, width) in w.iter().enumerate() {
        at += room(c);
        x.push(at);
        at += width;
    }
    at += room(graph.columns);
    (x, w, at)
}

/// The widest column that a net's rail runs past.
fn widest(by: &ByChannel, w: &[i32]) -> Option<usize> {
    let (first, last) = (*by.keys().next()?, *by.keys().next_back()?);
    (first..last).max_by_key(|&c| (w.get(c).copied().unwrap_or(0), usize::MAX - c))
}

/// Height of the middle between a block's first and last port.
pub(crate) fn middle(block: &crate::graph::Block) -> i32 {
    block.y + depth(block) / 2
}
