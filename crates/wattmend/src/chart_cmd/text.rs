//! The chart as text: numbered, indented, 80 columns at most.

use super::AFRESH;
use crate::render::Screen;
use crate::render::wrap::{width, wrap};
use diagnosis::chart::{Label, Node, Then};
use machine::model::Machine;
use report::fault_chart::{Charted, DEFERS, came_from, leads_out, takes};
use report::finding::words;

/// A printed sheet, whatever the screen.
const WIDEST: usize = 80;
/// Columns that a step further is moved in, and the most of such steps.
const INDENT: usize = 2;
const DEEPEST: usize = 10;
/// Suspects named at the head.
const NAMED: usize = 8;

pub(super) fn render(charted: &Charted<'_>, screen: &Screen) -> String {
    let columns = screen.columns.min(WIDEST);
    let chart = &charted.chart;
    let mut out = String::new();
    let mut line = |first: &str, rest: &str, text: &str| out.push_str(&wrap(first, rest, text, columns));
    line("", "  ", &charted.title());
    line("", "  ", &charted.name());
    line("", "", &charted.takes());
    let suspects: Vec<String> = chart
        .suspects
        .iter()
        .take(NAMED)
        .map(|(case, p)| format!("{} {}", case.says(charted.machine), words::per_cent(*p)))
        .collect();
    let more = chart.suspects.len().saturating_sub(NAMED);
    let more = if more > 0 { format!("; {more} more") } else { String::new() };
    line("", "  ", &format!("Suspects: {}{more}.", suspects.join("; ")));
    line("! ", "  ", DEFERS);
    let from = came_from(chart);
    let mut depth = vec![0; chart.nodes.len()];
    for (at, node) in chart.nodes.iter().enumerate() {
        depth[at] = from[at].map_or(0, |(parent, _)| depth[parent] + 1);
        let after = from[at].map(|(parent, b)| (parent, &chart.nodes[parent].branches[b].label));
        out.push('\n');
        out.push_str(&one(charted.machine, at, node, after, INDENT * depth[at].min(DEEPEST), columns));
    }
    out.push('\n');
    for note in charted.how_to_read(AFRESH) {
        out.push_str(&wrap("", "", &note, columns));
    }
    out
}

fn one(
    machine: &Machine,
    at: usize,
    node: &Node,
    after: Option<(usize, &Label)>,
    indent: usize,
    columns: usize,
) -> String {
    let blank = " ".repeat(indent);
    let rest = " ".repeat(indent + 4);
    let mut out = match after {
        Some((parent, label)) => {
            let came = format!("after {}: {}", parent + 1, label.says());
            wrap(&format!("{blank}{:<4}", at + 1), &rest, &came, columns)
        }
        None => wrap(&format!("{blank}{:<4}", at + 1), &rest, "begin here", columns),
    };
    if !node.caution().is_empty() {
        out.push_str(&wrap(&format!("{rest}! CAUTION: "), &format!("{rest}  "), node.caution(), columns));
    }
    out.push_str(&wrap(&rest, &rest, node.says(), columns));
    out.push_str(&wrap(&rest, &rest, &takes(machine, node), columns));
    for branch in &node.branches {
        let share = words::per_cent(branch.probability);
        let then = match branch.then {
            Then::Node(next) => format!("→ {}", next + 1),
            _ => leads_out(node, branch).to_owned(),
        };
        let end = format!("{share:>7}  {then:<6}");
        let room = columns.saturating_sub(indent + 6 + width(&end) + 2);
        let label = branch.label.says();
        let lines: Vec<String> = wrap("", "  ", &label, room).lines().map(str::to_owned).collect();
        for (i, text) in lines.iter().enumerate() {
            let tail = if i + 1 == lines.len() {
                format!(" {} {end}", ".".repeat(room.saturating_sub(width(text))))
            } else {
                String::new()
            };
            out.push_str(format!("{rest}  {text}{tail}").trim_end());
            out.push('\n');
        }
    }
    out
}
