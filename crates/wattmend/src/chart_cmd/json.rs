//! The chart for a program; keys carry their units and are described in `docs/chart-json.md`.

use diagnosis::belief::Case;
use diagnosis::chart::{Branch, Does, Label, Node, Reads, Then};
use diagnosis::finding::Action;
use machine::model::Machine;
use quantity::Dimension;
use report::fault_chart::{Charted, DEFERS};
use report::figures::rounded;
use report::finding::json::{faults, of_check, panels};
use report::finding::words;
use serde_json::{Value, json};

pub(super) fn render(charted: &Charted<'_>) -> String {
    let (machine, chart) = (charted.machine, &charted.chart);
    let plate = &machine.plate;
    let instruments: Vec<&str> = chart.instruments.iter().map(|i| words::instrument(*i)).collect();
    let answer = json!({
        "format": 1,
        "machine": { "kind": plate.kind, "maker": plate.maker, "model": plate.model, "variant": charted.variant },
        "evidence": charted.evidence.entries.iter().map(|e| json!({
            "said": e.said, "taken": words::clue(machine, &e.clue),
        })).collect::<Vec<_>>(),
        "defers": DEFERS,
        "instruments": instruments,
        "minutes_to_find": rounded(chart.minutes_to_find),
        "minutes": rounded(chart.minutes),
        "planned": { "at_least": rounded(chart.planned.0), "at_most": rounded(chart.planned.1) },
        "rare": rounded(charted.extent.rare),
        "cut": rounded(chart.cut),
        "others": rounded(chart.others),
        "suspects": suspects(machine, &chart.suspects),
        "nodes": chart.nodes.iter().enumerate().map(|(at, n)| node(machine, at, n)).collect::<Vec<_>>(),
    });
    format!("{answer:#}\n")
}

fn suspects(machine: &Machine, all: &[(Case, f64)]) -> Vec<Value> {
    let one = |(case, p): &(Case, f64)| {
        let sometimes: Vec<&str> = case
            .sometimes
            .iter()
            .filter_map(|&i| case.faults.faults().get(i))
            .map(|f| machine.parts[f.0].id.as_str())
            .collect();
        json!({ "faults": faults(machine, &case.faults), "sometimes": sometimes, "probability": rounded(*p) })
    };
    all.iter().map(one).collect()
}

fn node(machine: &Machine, at: usize, node: &Node) -> Value {
    let (does, check, part) = match &node.does {
        Does::Act(Action::Check(check)) => ("check", of_check(machine, check), None),
        Does::Act(Action::Mend { part, .. }) => ("mend", Value::Null, Some(machine.parts[*part].id.as_str())),
        Does::Act(Action::HandBack { .. }) => ("hand back", Value::Null, None),
        Does::GiveUp => ("give up", Value::Null, None),
    };
    json!({
        "number": at + 1,
        "probability": rounded(node.probability),
        "does": does,
        "caution": node.caution(),
        "says": node.says(),
        "check": check,
        "part": part,
        "minutes": rounded(node.minutes),
        "price_minutes": rounded(node.price),
        "opens": panels(machine, &node.opens),
        "closes": node.closes,
        "suspects": suspects(machine, &node.suspects),
        "branches": node.branches.iter().map(branch).collect::<Vec<_>>(),
    })
}

fn branch(branch: &Branch) -> Value {
    let (then, next, minutes) = match branch.then {
        Then::Node(next) => ("node", Some(next + 1), None),
        Then::Done => ("done", None, None),
        Then::Afresh { minutes } => ("afresh", None, Some(rounded(minutes))),
    };
    let reads = match &branch.label {
        Label::Reads(all) => all.iter().map(reads).collect(),
        _ => Vec::new(),
    };
    json!({
        "label": branch.label.says(),
        "reads": reads,
        "probability": rounded(branch.probability),
        "then": then,
        "next": next,
        "minutes_left": minutes,
    })
}

/// Over range is null.
fn reads(r: &Reads) -> Value {
    let finite = |x: f64| x.is_finite().then(|| rounded(x.max(0.0)));
    json!({
        "unit": match r.dimension {
            Dimension::Power => "W",
            Dimension::Voltage => "V",
            _ => "Ω",
        },
        "low": finite(r.low),
        "high": finite(r.high),
        "seen": r.seen,
        "not_seen": r.not_seen,
        "free_of": r.free_of,
        "code": r.code,
        "no_code": r.no_code,
    })
}
