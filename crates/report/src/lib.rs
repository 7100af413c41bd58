//! The wiring of a machine as a schematic: supply at the left, boards in the middle, loads at the right, earth below.
//!
//! Data flows one way: [`machine::model::Machine`] → nets and blocks (`graph`) → places of the blocks (`place`) → places
//! of the lines (`route`) → text (`svg`). What a kind of part looks like stands in `symbols` and nowhere else; it is
//! drawing only, no physics: a kind without an entry there is a labelled box.
//!
//! Text stands only within columns and vertical lines only between them, so no line runs through a word.
//!
//! By themselves stand [`flow_chart`], boxes that lead to each other, drawn on sheets of A4 (`flow.rs`); [`fault_chart`], which
//! puts a chart into such boxes and into words; [`finding`] and [`diagnostic`], what was found in words and as JSON.

#![allow(clippy::cast_possible_wrap, reason = "counts of rows and tracks on a sheet, far below 2^31")]

pub mod diagnostic;
pub mod fault_chart;
pub mod figures;
pub mod finding;
mod flow;
mod graph;
mod place;
mod route;
mod svg;
mod symbols;

pub use flow::{Box, Flow, Leads, Shape, Way, flow_chart, flow_sheets};
use machine::model::{Machine, NodeId};

/// The wiring of `machine` as one SVG document. The same machine always gives the same text.
///
/// Colours follow the reader's light or dark ground and can be set by the CSS variables `--ink`, `--paper` and `--mark`. Each
/// part, pin and wire is a group with an `id` and a `<title>` that says what it is and where its ends are.
pub fn schematic(machine: &Machine) -> String {
    schematic_marked(machine, &[])
}

/// As [`schematic`], with a ring where each of these nodes can be touched with a probe. A node is marked at the part or
/// pin that it belongs to; a node that is drawn nowhere is left out.
pub fn schematic_marked(machine: &Machine, probes: &[NodeId]) -> String {
    let graph = graph::build(machine);
    let placed = place::place(graph);
    let lines = route::route(&placed);
    svg::write(machine, &placed, &lines, probes)
}
