//! What the board switches and senses.

use super::Draft;
use super::fields::{Fields, Findings, Text};
use super::nets::{Side, endpoint};
use super::parts::{default_params, find_part, rates};
use crate::diagnostic::{Diagnostic, nearest};
use crate::kind;
use crate::model::{Input, NodeId, Output, OutputId, Part, PartId, Senses, node};
use crate::schema;
use quantity::Dimension;

/// The ways in which an output switches: its key, the part kind that models it, and how many points it names.
const WAYS: [(&str, &str, usize); 5] = [
    ("relay", "relay output", 2),
    ("triac", "triac output", 2),
    ("changeover", "changeover output", 3),
    ("inverter", "inverter output", 3),
    ("low-voltage", "low-voltage output", 2),
];

/// Reads the outputs and inputs of every control board.
pub(super) fn read(file: &Fields<'_>, draft: &mut Draft, findings: &mut Findings) {
    let mut reversals: Vec<(OutputId, Vec<Text>)> = Vec::new();
    for (name, table, span) in file.named_tables("part", findings) {
        let Some(board) = draft.part(&name.text) else { continue };
        if !draft.parts[board].kind.behaviour.is_board() {
            continue;
        }
        let fields = Fields::bare(table, format!("[part.{}]", name.text), span);
        for (name, table, span) in fields.named_tables("output", findings) {
            let fields =
                Fields::open(table, format!("output `{}`", name.text), span, &schema::OUTPUT, findings);
            if let Some(output) = output(&name, &fields, board, draft, findings) {
                reversals.push((draft.outputs.len(), fields.texts("reverse", findings)));
                draft.outputs.push(output);
            }
        }
        for (name, table, span) in fields.named_tables("input", findings) {
            let fields =
                Fields::open(table, format!("input `{}`", name.text), span, &schema::INPUT, findings);
            if let Some(input) = input(&name, &fields, board, draft, findings) {
                draft.inputs.push(input);
            }
        }
    }
    for (output, names) in reversals {
        draft.outputs[output].reverse =
            names.iter().filter_map(|t| find_output(t, &draft.outputs, findings)).collect();
    }
}

/// The output with this name, or an error.
pub(super) fn find_output(text: &Text, outputs: &[Output], findings: &mut Findings) -> Option<OutputId> {
    let found = outputs.iter().position(|o| o.name == text.text);
    if found.is_none() {
        let names: Vec<&str> = outputs.iter().map(|o| o.name.as_str()).collect();
        let mut d = Diagnostic::error(
            "unknown-output",
            text.span.clone(),
            format!("the board has no output `{}`", text.text),
        );
        d = match nearest(&text.text, names.iter().copied()) {
            Some(near) => d.mend(format!("did you mean `{near}`?")),
            None => d.mend(format!("outputs: {}", names.join(", "))),
        };
        findings.push(d);
    }
    found
}

fn output(
    name: &Text,
    fields: &Fields<'_>,
    board: PartId,
    draft: &mut Draft,
    findings: &mut Findings,
) -> Option<Output> {
    if draft.outputs.iter().any(|o| o.name == name.text) {
        findings.push(
            Diagnostic::error(
                "double-name",
                name.span.clone(),
                format!("there is another output `{}`", name.text),
            )
            .mend("give each output a name of its own, also across boards"),
        );
        return None;
    }
    let ways: Vec<_> = WAYS.into_iter().filter(|(key, _, _)| fields.get(key).is_some()).collect();
    let [(key, kind_name, points)] = *ways.as_slice() else {
        findings.push(
            Diagnostic::error(
                "output-way",
                name.span.clone(),
                format!("output `{}` needs exactly one way of switching", name.text),
            )
            .mend("write one of: relay, triac, changeover, inverter, low-voltage"),
        );
        return None;
    };
    let mut nodes = points_of(fields, key, points, draft, findings)?;
    if key == "inverter" {
        let feed = points_of(fields, "from", 2, draft, findings).or_else(|| {
            if fields.get("from").is_none() {
                findings.push(
                    Diagnostic::error(
                        "missing-key",
                        name.span.clone(),
                        format!("inverter `{}` lacks `from`", name.text),
                    )
                    .mend("add `from = [\"J1.1\", \"J1.2\"]`: the line and neutral points that feed it"),
                );
            }
            None
        })?;
        nodes = feed.into_iter().chain(nodes).collect();
    }
    let kind = kind::by_name(kind_name)?;
    let part = draft.parts.len();
    let board_part = &draft.parts[board];
    draft.parts.push(Part {
        id: format!("{}.{}", board_part.id, name.text),
        kind,
        params: default_params(kind),
        terminals: nodes.into_iter().map(Some).collect(),
        behind: board_part.behind.clone(),
        order: String::new(),
        through: Vec::new(),
        watches: None,
        rates: Vec::new(),
        note: String::new(),
        ends: None,
        at: name.span.clone(),
    });
    draft.parts[part].rates = rates(kind, &draft.parts[part].params, fields, findings);
    draft.parts[part].order = match fields.words("order", findings) {
        own if own.is_empty() => draft.parts[board].order.clone(),
        own => own,
    };
    let motor = fields.text("motor", findings).and_then(|t| find_part(&t, draft, findings));
    Some(Output { name: name.text.clone(), part, board, motor, reverse: Vec::new(), at: name.span.clone() })
}

/// An output whose load is missing in the variant that is read drives nothing: no fault of it is the cause of a job.
pub(super) fn drop_faults_of_idle_outputs(draft: &mut Draft) {
    let idle: Vec<PartId> =
        draft.outputs.iter().map(|o| o.part).filter(|&part| leads_nowhere(draft, part)).collect();
    for part in idle {
        draft.parts[part].rates.fill(0.0);
    }
}

/// Does one side of a switch with two ends lead to no part?
fn leads_nowhere(draft: &Draft, switch: PartId) -> bool {
    let ends = &draft.parts[switch].terminals;
    let others = || draft.parts.iter().enumerate().filter(|p| p.0 != switch);
    let meets = |node: NodeId| others().any(|(_, p)| p.terminals.contains(&Some(node)));
    let leads = |node: NodeId| {
        let outside = draft.joints.iter().filter(|j| j.inner == node).map(|j| j.outer);
        node == node::LINE || node == node::NEUTRAL || meets(node) || outside.into_iter().any(meets)
    };
    ends.len() == 2 && ends.iter().flatten().any(|&end| !leads(end))
}

/// The nodes of a list of exactly `count` points on the board's side.
fn points_of(
    fields: &Fields<'_>,
    key: &str,
    count: usize,
    draft: &mut Draft,
    findings: &mut Findings,
) -> Option<Vec<NodeId>> {
    let texts = fields.texts(key, findings);
    if texts.len() != count {
        if let Some(value) = fields.get(key) {
            findings.push(
                Diagnostic::error(
                    "points",
                    value.span(),
                    format!("`{key}` of {} names {count} points", fields.name()),
                )
                .label(format!("{} here", texts.len()))
                .mend("write them as a list: [\"J1.3\", \"J2.1\"]"),
            );
        }
        return None;
    }
    let nodes: Vec<NodeId> = texts.iter().filter_map(|t| endpoint(t, Side::Board, draft, findings)).collect();
    (nodes.len() == count).then_some(nodes)
}

fn input(
    name: &Text,
    fields: &Fields<'_>,
    board: PartId,
    draft: &mut Draft,
    findings: &mut Findings,
) -> Option<Input> {
    let given: Vec<&str> =
        ["volts", "ohms", "contact", "from"].into_iter().filter(|k| fields.get(k).is_some()).collect();
    let [way] = given.as_slice() else {
        findings.push(
            Diagnostic::error(
                "input-way",
                name.span.clone(),
                format!("input `{}` needs exactly one way of sensing", name.text),
            )
            .mend("write one of: volts (with above), ohms, contact, from"),
        );
        return None;
    };
    let (senses, dimension) = match *way {
        "volts" => {
            let text = fields.text("volts", findings)?;
            let node = endpoint(&text, Side::Board, draft, findings)?;
            let above = fields.quantity("above", Dimension::Voltage, findings);
            if above.is_none() && fields.get("above").is_none() {
                findings.push(
                    Diagnostic::error(
                        "missing-key",
                        name.span.clone(),
                        format!("input `{}` lacks `above`", name.text),
                    )
                    .mend("add `above = \"160 V\"`: it counts as true above this"),
                );
            }
            (Senses::Volts { node, above: above?.nominal }, Dimension::Voltage)
        }
        "from" => {
            let text = fields.text("from", findings)?;
            let part = find_part(&text, draft, findings)?;
            let over = fields.texts("over", findings);
            let pins = over.iter().filter_map(|t| endpoint(t, Side::Board, draft, findings)).collect();
            (Senses::Part { part, pins }, draft.parts[part].kind.behaviour.reports())
        }
        key => {
            let nodes = points_of(fields, key, 2, draft, findings)?;
            let senses = if key == "ohms" {
                Senses::Ohms(nodes[0], nodes[1])
            } else {
                Senses::Contact(nodes[0], nodes[1])
            };
            (senses, Dimension::Resistance)
        }
    };
    let plausible = fields
        .text("plausible", findings)
        .and_then(|t| t.parse(findings, |x| quantity::parse_range(x, dimension)));
    Some(Input { name: name.text.clone(), board, senses, plausible, at: name.span.clone() })
}
