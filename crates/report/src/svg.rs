//! From places to text.

use crate::graph::{Block, Side, What};
use crate::place::{Placed, depth, in_line, text_width, upright};
use crate::route::{Lines, NetLines, Stretch, middle};
use crate::symbols::{EARTH, Symbol, body};
use machine::model::{Machine, NodeId, PartId};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Blank edge around the drawing, px.
const EDGE: i32 = 12;
/// Height of a line of text below the drawing, px.
const ROW: i32 = 18;

const STYLE: &str = "\
svg{--ink:#1c1c1c;--paper:#fff;--mark:#c2410c;color:var(--ink);background:var(--paper);font-family:sans-serif;font-size:11px}\
@media(prefers-color-scheme:dark){svg{--ink:#e8e8e8;--paper:#161616;--mark:#ff9b57}}\
path,rect,circle,line{fill:none;stroke:currentColor;stroke-width:1.4;stroke-linecap:round;stroke-linejoin:round}\
text{fill:currentColor;stroke:none}.small{font-size:10px}.name{font-size:12px;font-weight:bold}\
.board{stroke-dasharray:6 4;stroke-width:1}.net path,.wire path{stroke-width:1.2}\
path.reach{stroke-width:9;stroke-opacity:0;pointer-events:stroke}\
.probe{stroke:var(--mark);stroke-width:2.6}.dot{fill:currentColor;stroke:none}.wire:hover path{stroke-width:2.6}";

/// The whole document.
pub(crate) fn write(machine: &Machine, placed: &Placed, lines: &Lines, probes: &[NodeId]) -> String {
    let notes = notes(machine, placed, lines.width);
    let height = lines.bottom - lines.top + notes.len() as i32 * ROW;
    let plate = &machine.plate;
    let name = escape(&format!("{} {}, {}: wiring", plate.maker, plate.model, plate.kind));
    let mut out = String::new();
    let (w, h) = (lines.width + 2 * EDGE, height + 2 * EDGE);
    // Writing to a String cannot fail, so the results are of no interest.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"{} {} {w} {h}\" width=\"{w}\" height=\"{h}\" \
         role=\"img\" aria-labelledby=\"title desc\">\n<title id=\"title\">{name}</title>\n\
         <desc id=\"desc\">{}</desc>\n<style>{STYLE}</style>\n",
        -EDGE,
        lines.top - EDGE,
        escape(&description(machine, placed)),
    );
    boards(&mut out, placed, lines);
    nets(&mut out, machine, placed, lines);
    for block in &placed.graph.blocks {
        draw_block(&mut out, block, lines);
    }
    marks(&mut out, placed, lines, probes);
    for (i, note) in notes.iter().enumerate() {
        let y = lines.bottom + (i as i32 + 1) * ROW;
        let _ = writeln!(out, "<text x=\"4\" y=\"{y}\">{note}</text>");
    }
    out.push_str("</svg>\n");
    out
}

fn description(machine: &Machine, placed: &Placed) -> String {
    let wires = machine.parts.iter().filter(|p| p.ends.is_some()).count();
    format!(
        "Supply at the left, {} in the middle, loads at the right, {wires} wires. Each part, pin and wire is a group \
         with a title.",
        placed.graph.boards.join(" and "),
    )
}

/// Lines of text below: the parts without a terminal, as many on a line as fit.
fn notes(machine: &Machine, placed: &Placed, width: i32) -> Vec<String> {
    let mut rows = Vec::new();
    let (mut row, mut used) = (String::from("Not wired:"), text_width("Not wired:", 11.0));
    for &p in &placed.graph.unwired {
        let part = &machine.parts[p];
        let needs = text_width(&part.id, 11.0) + 14;
        if used + needs > width - 8 {
            rows.push(std::mem::take(&mut row));
            used = 0;
        }
        let _ = write!(
            row,
            " <tspan id=\"part-{0}\">{0}<title>{0}: {1}</title></tspan>{2}",
            escape(&part.id),
            escape(part.kind.name),
            if Some(&p) == placed.graph.unwired.last() { "" } else { "," },
        );
        used += needs;
    }
    if !placed.graph.unwired.is_empty() {
        rows.push(row);
    }
    rows
}

/// A ring at the first port of each node, in the order of the probes.
fn marks(out: &mut String, placed: &Placed, lines: &Lines, probes: &[NodeId]) {
    for &node in probes {
        let mut ports = placed.graph.blocks.iter().flat_map(|b| b.ports.iter().map(move |p| (b, p)));
        let Some((block, port)) = ports.find(|(_, p)| p.node == node) else { continue };
        let right = if port.side == Side::Right { lines.column_w[block.column] } else { 0 };
        let (x, y) = (lines.column_x[block.column] + right, block.y + port.dy);
        let _ = writeln!(
            out,
            "<circle class=\"probe\" cx=\"{x}\" cy=\"{y}\" r=\"7\"><title>probe</title></circle>"
        );
    }
}

fn boards(out: &mut String, placed: &Placed, lines: &Lines) {
    let feed = placed.graph.feed_column;
    for (name, &(top, bottom)) in placed.graph.boards.iter().zip(&placed.boards) {
        let (x, end) = (lines.column_x[feed] - 6, lines.column_x[feed + 2] + lines.column_w[feed + 2] + 6);
        let _ = writeln!(
            out,
            "<rect class=\"board\" x=\"{x}\" y=\"{top}\" width=\"{}\" height=\"{}\" rx=\"4\"/>\
             <text class=\"name\" x=\"{}\" y=\"{}\">{}</text>",
            end - x,
            bottom - top,
            lines.column_x[feed + 1] + 4,
            top + 16,
            escape(name),
        );
    }
}

/// Which wire is drawn by which port's line. A net of k ports has at least k − 1 wires; each wire takes a free end.
fn wires_at_ports(machine: &Machine, placed: &Placed) -> (BTreeMap<NodeId, PartId>, Vec<PartId>) {
    let mut free: BTreeMap<NodeId, Option<PartId>> = BTreeMap::new();
    for block in &placed.graph.blocks {
        free.extend(
            block.ports.iter().map(|p| (p.node, None)).chain(block.earths.iter().map(|&n| (n, None))),
        );
    }
    let wires = || machine.parts.iter().enumerate().filter(|(_, p)| p.ends.is_some());
    let ends = |p: &machine::model::Part| -> Vec<NodeId> { p.terminals.iter().flatten().copied().collect() };
    let mut rest = Vec::new();
    let single = |p: &machine::model::Part, free: &BTreeMap<NodeId, Option<PartId>>| {
        ends(p).iter().filter(|n| free.contains_key(n)).count() == 1
    };
    let (first, second): (Vec<_>, Vec<_>) = wires().partition(|(_, p)| single(p, &free));
    for (id, part) in first.into_iter().chain(second) {
        match ends(part).into_iter().find(|n| free.get(n).is_some_and(Option::is_none)) {
            Some(n) => {
                free.insert(n, Some(id));
            }
            None => rest.push(id),
        }
    }
    (free.into_iter().filter_map(|(n, w)| w.map(|w| (n, w))).collect(), rest)
}

fn nets(out: &mut String, machine: &Machine, placed: &Placed, lines: &Lines) {
    let (at_port, rest) = wires_at_ports(machine, placed);
    for (net, drawn) in placed.graph.nets.iter().zip(&lines.nets) {
        if drawn.stubs.is_empty() {
            continue;
        }
        let _ = write!(out, "<g class=\"net\">");
        if !net.name.is_empty() {
            let _ = write!(out, "<title>{}</title>", escape(&net.name));
        }
        // A net of one wire is that wire from end to end; otherwise each wire has its own end, and the rest is shared.
        if let [only] = net.wires[..] {
            let all: Vec<Stretch> =
                drawn.trunks.iter().copied().chain(drawn.stubs.iter().map(|s| s.line)).collect();
            wire(out, machine, only, &path(&all), "");
        } else {
            strokes(out, &drawn.trunks);
            let mut unclaimed = Vec::new();
            for stub in &drawn.stubs {
                let port = &placed.graph.blocks[stub.block].ports[stub.port];
                match at_port.get(&port.node).filter(|w| net.wires.contains(w)) {
                    Some(&w) => wire(out, machine, w, &path(&[stub.line]), ""),
                    None => unclaimed.push(stub.line),
                }
            }
            strokes(out, &unclaimed);
            for &w in rest.iter().filter(|w| net.wires.contains(w)) {
                wire(out, machine, w, "", &dot_of(drawn));
            }
        }
        for (x, y) in &drawn.dots {
            let _ = write!(out, "<circle class=\"dot\" cx=\"{x}\" cy=\"{y}\" r=\"2.6\"/>");
        }
        if let Some((x, y)) = drawn.label.filter(|_| !net.name.is_empty()) {
            let _ = write!(out, "<text class=\"small\" x=\"{x}\" y=\"{y}\">{}</text>", escape(&net.name));
        }
        out.push_str("</g>\n");
    }
    earths(out, machine, placed, lines, &at_port, &rest);
}

/// The earth symbols, each below its part, drawn by the wire that leads to the cabinet.
fn earths(
    out: &mut String,
    machine: &Machine,
    placed: &Placed,
    lines: &Lines,
    at_port: &BTreeMap<NodeId, PartId>,
    rest: &[PartId],
) {
    let mut spare: Vec<PartId> = rest
        .iter()
        .copied()
        .filter(|&w| {
            !lines
                .nets
                .iter()
                .zip(&placed.graph.nets)
                .any(|(l, n)| !l.stubs.is_empty() && n.wires.contains(&w))
        })
        .collect();
    for block in &placed.graph.blocks {
        for (i, n) in block.earths.iter().enumerate() {
            let cx = lines.column_x[block.column] + lines.column_w[block.column] / 2 + i as i32 * 22;
            let half = if in_line(block) && block.symbol == Symbol::Resistor { 6 } else { 10 };
            let symbol = if upright(block) {
                // Off the side of an upright symbol, for below it ends at its second terminal.
                let (x, y) = (cx + 16, middle(block));
                format!("<path d=\"M{} {y}H{x}\"/><g transform=\"translate({x} {y})\">{EARTH}</g>", cx + 6)
            } else {
                format!("<g transform=\"translate({cx} {})\">{EARTH}</g>", block.y + depth(block) + half)
            };
            match at_port.get(n) {
                Some(&w) => wire(out, machine, w, "", &symbol),
                None => out.push_str(&symbol),
            }
            for w in spare.drain(..) {
                wire(out, machine, w, "", &symbol);
            }
        }
    }
    for w in spare {
        wire(out, machine, w, "", "");
    }
}

fn dot_of(drawn: &NetLines) -> String {
    let (x, y) = drawn.trunks.first().or(drawn.stubs.first().map(|s| &s.line)).map_or((0, 0), |s| s.from);
    format!("<circle class=\"dot\" cx=\"{x}\" cy=\"{y}\" r=\"1\"/>")
}

/// A wire as a group that says where its ends are.
fn wire(out: &mut String, machine: &Machine, w: PartId, path: &str, more: &str) {
    let part = &machine.parts[w];
    let ends = part.ends.as_ref().map_or(String::new(), |(a, b)| format!("{a} to {b}"));
    let _ = write!(
        out,
        "<g class=\"wire\" id=\"part-{0}\"><title>{1} ({0})</title>",
        escape(&part.id),
        escape(&ends)
    );
    if !path.is_empty() {
        let _ = write!(out, "<path class=\"reach\" d=\"{path}\"/><path d=\"{path}\"/>");
    }
    let _ = writeln!(out, "{more}</g>");
}

fn strokes(out: &mut String, stretches: &[Stretch]) {
    if !stretches.is_empty() {
        let _ = write!(out, "<path d=\"{}\"/>", path(stretches));
    }
}

fn path(stretches: &[Stretch]) -> String {
    let mut d = String::new();
    for s in stretches.iter().filter(|s| s.from != s.to) {
        let _ = write!(d, "M{} {}L{} {}", s.from.0, s.from.1, s.to.0, s.to.1);
    }
    d
}

fn draw_block(out: &mut String, block: &Block, lines: &Lines) {
    let (x, w) = (lines.column_x[block.column], lines.column_w[block.column]);
    let (class, prefix) = match block.what {
        What::Part(_) => ("part", "part-"),
        What::Pin => ("pin", "pin-"),
        What::Input => ("input", ""),
    };
    let _ = write!(
        out,
        "<g class=\"{class}\" id=\"{prefix}{}\"><title>{}</title>",
        escape(&block.id),
        escape(&block.title)
    );
    let cx = x + w / 2;
    if block.what == What::Pin {
        let y = block.y;
        let _ = write!(
            out,
            "<rect x=\"{x}\" y=\"{}\" width=\"{w}\" height=\"16\" rx=\"3\"/>\
             <text x=\"{cx}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            y - 8,
            y + 4,
            escape(&block.label),
        );
    } else {
        if in_line(block) {
            draw_in_line(out, block, (x, w));
        } else if upright(block) {
            draw_upright(out, block, (x, w));
        } else {
            draw_box(out, block, (x, w));
        }
        let y = block.y - 14;
        let _ =
            write!(out, "<text x=\"{cx}\" y=\"{y}\" text-anchor=\"middle\">{}</text>", escape(&block.label));
    }
    out.push_str("</g>\n");
}

fn letter(block: &Block) -> &'static str {
    if block.symbol == Symbol::Motor { "M" } else { "" }
}

fn draw_in_line(out: &mut String, block: &Block, (x, w): (i32, i32)) {
    let (cx, y) = (x + w / 2, block.y);
    let _ = write!(
        out,
        "<path d=\"M{x} {y}H{}M{} {y}H{}\"/><g transform=\"translate({cx} {y})\">{}</g>",
        cx - 20,
        cx + 20,
        x + w,
        body(block.symbol),
    );
    centre_letter(out, block, (cx, y));
    for port in &block.ports {
        let (at, anchor) = if port.side == Side::Left { (x + 2, "start") } else { (x + w - 2, "end") };
        terminal(out, &port.label, (at, y - 3), anchor);
    }
}

fn draw_upright(out: &mut String, block: &Block, (x, w): (i32, i32)) {
    let (cx, y, end) = (x + w / 2, block.y, block.y + depth(block));
    let cy = middle(block);
    let _ = write!(
        out,
        "<g transform=\"translate({cx} {cy}) rotate(90)\">{}</g><path d=\"M{cx} {y}V{}M{cx} {}V{end}\"/>",
        body(block.symbol),
        (cy - 20).max(y),
        (cy + 20).min(end),
    );
    centre_letter(out, block, (cx, cy));
    for port in &block.ports {
        let level = y + port.dy;
        let (edge, at, anchor) =
            if port.side == Side::Left { (x, x + 2, "start") } else { (x + w, x + w - 2, "end") };
        let _ = write!(out, "<path d=\"M{edge} {level}H{cx}\"/>");
        terminal(out, &port.label, (at, level - 3), anchor);
    }
}

fn draw_box(out: &mut String, block: &Block, (x, w): (i32, i32)) {
    let (y, tall) = (block.y, depth(block));
    let _ = write!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
        x + 10,
        y - 10,
        w - 20,
        tall + 20
    );
    if block.symbol == Symbol::Motor {
        let (cx, cy) = (x + w / 2, middle(block));
        let _ = write!(out, "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"10\"/>");
        centre_letter(out, block, (cx, cy));
    }
    for port in &block.ports {
        let level = y + port.dy;
        let (edge, inner, at, anchor) = if port.side == Side::Left {
            (x, x + 10, x + 13, "start")
        } else {
            (x + w, x + w - 10, x + w - 13, "end")
        };
        let _ = write!(out, "<path d=\"M{edge} {level}H{inner}\"/>");
        terminal(out, &port.label, (at, level + 4), anchor);
    }
}

fn centre_letter(out: &mut String, block: &Block, (x, y): (i32, i32)) {
    let text = letter(block);
    if !text.is_empty() {
        let _ = write!(out, "<text x=\"{x}\" y=\"{}\" text-anchor=\"middle\">{text}</text>", y + 4);
    }
}

fn terminal(out: &mut String, name: &str, (x, y): (i32, i32), anchor: &str) {
    if !name.is_empty() {
        let _ = write!(
            out,
            "<text class=\"small\" x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{}</text>",
            escape(name)
        );
    }
}

/// Text as XML, without characters that XML forbids.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().filter(|&c| c >= ' ' && !matches!(c, '\u{FFFE}' | '\u{FFFF}')) {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c => out.push(c),
        }
    }
    out
}
