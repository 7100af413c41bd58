//! Answers that lead to the same become one; what is cut becomes one; nodes are numbered as they are read.

use super::{Branch, Chart, Does, Label, Node, Then};
use crate::belief::Case;
use crate::check::Instrument;
use crate::finding::Action;

/// The chart with answers put together and its nodes in reading order.
/// `in_vain`: what a repair that does not cure costs on top.
pub(super) fn joined(chart: Chart, in_vain: f64) -> Chart {
    let mut nodes: Vec<Node> = chart.nodes;
    // Those that follow come after: from the last to the first, all below is joined already.
    for at in (0..nodes.len()).rev() {
        let branches = std::mem::take(&mut nodes[at].branches);
        nodes[at].branches = join(&mut nodes, at, branches);
    }
    let mut ordered = Vec::new();
    put(&nodes, 0, &mut ordered);
    totals(Chart { nodes: ordered, ..chart }, in_vain)
}

/// What the chart takes, all in all.
fn totals(mut chart: Chart, in_vain: f64) -> Chart {
    (chart.minutes, chart.minutes_to_find, chart.cut) = (0.0, 0.0, 0.0);
    for node in &chart.nodes {
        chart.minutes += node.probability * (node.minutes + node.price);
        if node.is_check() {
            chart.minutes_to_find += node.probability * node.minutes;
        }
        for branch in &node.branches {
            if matches!(&node.does, Does::Act(Action::Mend { .. } | Action::HandBack { .. }))
                && branch.then != Then::Done
            {
                chart.minutes += node.probability * branch.probability * in_vain;
            }
            if let Then::Afresh { minutes } = branch.then {
                chart.cut += node.probability * branch.probability;
                chart.minutes += node.probability * branch.probability * minutes;
            }
        }
        if let Does::Act(Action::Check(check)) = &node.does
            && check.instrument != Instrument::None
            && !chart.instruments.contains(&check.instrument)
        {
            chart.instruments.push(check.instrument);
        }
    }
    chart
}

/// What a check takes after which nothing is printed any more, whatever it shows: none where something is.
fn barren(node: &Node) -> Option<f64> {
    let mut minutes = node.minutes + node.price;
    for branch in &node.branches {
        let Then::Afresh { minutes: rest } = branch.then else { return None };
        minutes += branch.probability * rest;
    }
    node.is_check().then_some(minutes)
}

fn join(nodes: &mut [Node], at: usize, branches: Vec<Branch>) -> Vec<Branch> {
    let mut kept: Vec<Branch> = Vec::new();
    let mut cut: Option<Branch> = None;
    for mut branch in branches {
        if let Then::Node(next) = branch.then
            && let Some(minutes) = barren(&nodes[next])
        {
            branch.then = Then::Afresh { minutes };
        }
        if let Then::Afresh { minutes } = branch.then {
            let (p, m) = cut.as_ref().map_or((0.0, 0.0), |c| match c.then {
                Then::Afresh { minutes } => (c.probability, minutes),
                _ => (0.0, 0.0),
            });
            let probability = p + branch.probability;
            let minutes =
                if probability > 0.0 { (p * m + branch.probability * minutes) / probability } else { m };
            let label = if cut.is_none() { branch.label } else { Label::Else };
            cut = Some(Branch { label, probability, then: Then::Afresh { minutes } });
            continue;
        }
        let twin = kept.iter().position(|k| match (k.then, branch.then) {
            (Then::Node(a), Then::Node(b)) => shape(nodes, a) == shape(nodes, b),
            _ => false,
        });
        match twin {
            Some(twin) => {
                let k = &mut kept[twin];
                if let (Then::Node(a), Then::Node(b)) = (k.then, branch.then) {
                    mix(nodes, a, b);
                }
                k.probability += branch.probability;
                k.label = both(&k.label, branch.label);
            }
            None => kept.push(branch),
        }
    }
    kept.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    // Where a repair's failure is all that is cut, it keeps its name; beside readings it is whatever they do not name.
    if let Some(mut cut) = cut {
        if matches!(cut.label, Label::Reads(_)) && nodes[at].is_check() {
            cut.label = Label::Else;
        }
        kept.push(cut);
    }
    kept
}

/// Both answers; yes and no together are whatever the answer is.
fn both(a: &Label, b: Label) -> Label {
    match (a, b) {
        (Label::Reads(a), Label::Reads(b)) => Label::Reads(a.iter().cloned().chain(b).collect()),
        (a, b) if *a == b => b,
        _ => Label::Else,
    }
}

/// What one does from a node on, whatever its probabilities.
fn shape(nodes: &[Node], at: usize) -> String {
    let node = &nodes[at];
    let does = match &node.does {
        Does::Act(Action::Check(check)) => check.id.clone(),
        Does::Act(Action::Mend { part, .. }) => format!("mend {part}"),
        Does::Act(Action::HandBack { .. }) => "hand back".to_owned(),
        Does::GiveUp => "give up".to_owned(),
    };
    let mut all = format!("{does} {:.6} {}", node.minutes, node.closes);
    for branch in &node.branches {
        let then = match branch.then {
            Then::Node(next) => shape(nodes, next),
            Then::Done => "done".to_owned(),
            Then::Afresh { .. } => "afresh".to_owned(),
        };
        all.push_str(&format!("({} {then})", branch.label.says()));
    }
    all
}

/// Adds node `b`, of the same shape, to node `a`.
fn mix(nodes: &mut [Node], a: usize, b: usize) {
    let other = nodes[b].clone();
    let node = &mut nodes[a];
    let total = node.probability + other.probability;
    let (own, its) = (node.probability / total, other.probability / total);
    node.probability = total;
    node.suspects = mixed(&node.suspects, own, &other.suspects, its);
    let mut below = Vec::new();
    for (x, y) in node.branches.iter_mut().zip(&other.branches) {
        let (p, q) = (own * x.probability, its * y.probability);
        x.probability = p + q;
        match (&mut x.then, y.then) {
            (Then::Node(c), Then::Node(d)) => below.push((*c, d)),
            (Then::Afresh { minutes }, Then::Afresh { minutes: m }) if p + q > 0.0 => {
                *minutes = (p * *minutes + q * m) / (p + q);
            }
            _ => {}
        }
    }
    for (c, d) in below {
        mix(nodes, c, d);
    }
}

fn mixed(a: &[(Case, f64)], own: f64, b: &[(Case, f64)], its: f64) -> Vec<(Case, f64)> {
    let mut all: Vec<(Case, f64)> = a.iter().map(|(c, p)| (c.clone(), own * p)).collect();
    for (case, p) in b {
        match all.iter_mut().find(|x| x.0 == *case) {
            Some(known) => known.1 += its * p,
            None => all.push((case.clone(), its * p)),
        }
    }
    all.sort_by(|x, y| y.1.total_cmp(&x.1));
    all
}

/// A node, then those that follow from it, in the order of its branches.
fn put(nodes: &[Node], at: usize, ordered: &mut Vec<Node>) -> usize {
    let place = ordered.len();
    ordered.push(nodes[at].clone());
    for branch in 0..nodes[at].branches.len() {
        if let Then::Node(next) = nodes[at].branches[branch].then {
            let then = Then::Node(put(nodes, next, ordered));
            ordered[place].branches[branch].then = then;
        }
    }
    place
}
