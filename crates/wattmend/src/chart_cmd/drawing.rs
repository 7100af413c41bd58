//! The chart as a drawing: boxes for `report`.

use super::{Charted, DEFERS, text};
use diagnosis::chart::{Does, Node, Then};
use report::finding::words;
use report::{Box, Flow, Leads, Shape, Way};

pub(super) fn draw(charted: &Charted<'_>) -> String {
    let chart = &charted.chart;
    let mut from = vec![None; chart.nodes.len()];
    for (at, node) in chart.nodes.iter().enumerate() {
        for branch in &node.branches {
            if let Then::Node(next) = branch.then {
                from[next] = Some(at);
            }
        }
    }
    let flow = Flow {
        title: charted.title(),
        facts: vec![charted.name(), charted.takes(), DEFERS.to_owned()],
        boxes: chart.nodes.iter().zip(from).map(|(node, from)| one(charted, node, from)).collect(),
        notes: charted.how_to_read(),
    };
    report::flow_chart(&flow)
}

fn one(charted: &Charted<'_>, node: &Node, from: Option<usize>) -> Box {
    let after = from.map_or(String::new(), |n| format!("after {}; ", n + 1));
    let way = |branch: &diagnosis::chart::Branch| Way {
        label: branch.label.says(),
        share: branch.probability,
        words: words::per_cent(branch.probability),
        then: match branch.then {
            Then::Node(next) => Leads::To(next),
            Then::Done if node.does == Does::GiveUp => Leads::Out("end".to_owned()),
            Then::Done => Leads::Out("done".to_owned()),
            Then::Afresh { .. } => Leads::Out("afresh".to_owned()),
        },
    };
    Box {
        shape: if node.is_check() { Shape::Check } else { Shape::End },
        caution: node.caution().to_owned(),
        says: node.says().to_owned(),
        facts: format!("{after}{}", text::takes(charted.machine, node)),
        ways: node.branches.iter().map(way).collect(),
    }
}
