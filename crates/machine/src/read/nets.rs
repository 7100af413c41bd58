//! Wiring: the looms' wires, the pins of connectors, and the nodes that they join.
//!
//! A part's terminal and a connector's pin are each two nodes with a joint between them, so that a tab can be lifted
//! and a connector unplugged: the part or the board on the inner side, the wires on the outer.

use super::Draft;
use super::fields::{Fields, Findings, Text};
use super::parts::{absent, default_params, rates};
use super::plate::resolve;
use crate::diagnostic::{Diagnostic, nearest};
use crate::kind;
use crate::model::{Joint, NodeId, Part, Span};
use crate::schema;
use std::collections::BTreeMap;

/// The kind of a wire.
const WIRE: &str = "wire";

/// The nodes by name, with the places that touch each.
pub(super) struct Nodes {
    names: Vec<String>,
    by_name: BTreeMap<String, NodeId>,
    touched: Vec<Vec<Span>>,
}

impl Default for Nodes {
    fn default() -> Self {
        let mut nodes = Nodes { names: Vec::new(), by_name: BTreeMap::new(), touched: Vec::new() };
        for name in [kind::SUPPLY_LINE, kind::SUPPLY_NEUTRAL, kind::SUPPLY_EARTH, "chassis"] {
            nodes.named(name);
        }
        nodes
    }
}

impl Nodes {
    /// The node with this name, made if need be.
    fn named(&mut self, name: &str) -> NodeId {
        if let Some(&id) = self.by_name.get(name) {
            return id;
        }
        let id = self.names.len();
        self.names.push(name.to_owned());
        self.by_name.insert(name.to_owned(), id);
        self.touched.push(Vec::new());
        id
    }

    fn touch(&mut self, id: NodeId, span: Span) {
        self.touched[id].push(span);
    }

    fn is_touched(&self, name: &str) -> bool {
        self.by_name.get(name).is_some_and(|&id| !self.touched[id].is_empty())
    }

    pub(super) fn into_names(self) -> Vec<String> {
        self.names
    }
}

/// Which side of a pin a text speaks of.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Board,
    Loom,
}

/// The suffix that names the board's side of a pin.
const BOARD_SIDE: &str = "@board";

/// Reads `[loom.*]` and the pins of parts that sit on the board.
pub(super) fn read(file: &Fields<'_>, draft: &mut Draft, findings: &mut Findings) {
    pins_on_board(file, draft, findings);
    let wire_kind = kind::by_name(WIRE);
    let panel_names: Vec<String> = draft.panels.iter().map(|p| p.name.clone()).collect();
    for (name, table, span) in file.named_tables("loom", findings) {
        let fields = Fields::open(table, format!("[loom.{}]", name.text), span, &schema::LOOM, findings);
        if absent(&fields.words_list("variants", findings), draft.variant.as_deref()) {
            continue;
        }
        let behind = resolve(&fields.texts("behind", findings), &panel_names, findings);
        let order = fields.words("order", findings);
        let wires = fields.texts("wires", findings);
        for (number, wire) in wires.iter().enumerate() {
            let Some((a, b)) = ends(wire, findings) else { continue };
            let from = endpoint(&a, Side::Loom, draft, findings);
            let to = endpoint(&b, Side::Loom, draft, findings);
            let (Some(from), Some(to), Some(kind)) = (from, to, wire_kind) else { continue };
            let params = default_params(kind);
            let rates = rates(kind, &params, &fields, findings);
            draft.parts.push(Part {
                id: format!("loom.{}.{}", name.text, number + 1),
                kind,
                params,
                terminals: vec![Some(from), Some(to)],
                behind: behind.clone(),
                order: order.clone(),
                through: Vec::new(),
                watches: None,
                rates: share_out(&rates, wires.len(), fields.get("rates").is_some()),
                note: String::new(),
                ends: Some((a.text, b.text)),
                at: wire.span.clone(),
            });
        }
    }
}

/// The library's rate is for a whole machine's wiring (some dozens of wires); each wire gets its part of it.
fn share_out(rates: &[f64], wires: usize, own: bool) -> Vec<f64> {
    const WIRES_OF_A_MACHINE: usize = 30;
    let divisor = if own { 1.0 } else { wires.max(WIRES_OF_A_MACHINE) as f64 };
    rates.iter().map(|r| r / divisor).collect()
}

/// The two ends of "A = B".
fn ends(wire: &Text, findings: &mut Findings) -> Option<(Text, Text)> {
    let Some(at) = wire.text.find('=') else {
        findings.push(
            Diagnostic::error("wire", wire.span.clone(), "a wire is written as two ends with = between")
                .mend("write for instance \"J2.1 = element.1\""),
        );
        return None;
    };
    let piece = |range: Span| {
        let raw = &wire.text[range.clone()];
        let start = range.start + (raw.len() - raw.trim_start().len());
        Text { text: raw.trim().to_owned(), span: wire.part(&(start..start + raw.trim().len())) }
    };
    let (a, b) = (piece(0..at), piece(at + 1..wire.text.len()));
    if a.text == b.text {
        findings.push(
            Diagnostic::error("wire", wire.span.clone(), "both ends of this wire are the same")
                .mend("name the other end"),
        );
        return None;
    }
    Some((a, b))
}

/// Resolves an end: `element.1`, `J2.1`, a free net, or `chassis`. `None` is reported, or belongs to another variant.
pub(super) fn endpoint(end: &Text, side: Side, draft: &mut Draft, findings: &mut Findings) -> Option<NodeId> {
    if let Some((owner, terminal)) = end.text.split_once('.') {
        if is_connector(owner) {
            return Some(pin(end, owner, side, draft));
        }
        return tab(end, owner, terminal, draft, findings);
    }
    if end.text.is_empty() || is_connector(&end.text) || draft.part(&end.text).is_some() {
        findings.push(
            Diagnostic::error("wire-end", end.span.clone(), format!("`{}` is no point to connect to", end.text))
                .label("which pin or terminal of it?")
                .mend("write a terminal (\"element.1\"), a pin (\"J2.1\"), a net (\"line-after-lock\") or \"chassis\""),
        );
        return None;
    }
    let id = draft.nodes.named(&end.text);
    draft.nodes.touch(id, end.span.clone());
    Some(id)
}

/// Connectors begin with a capital letter, parts with a small one.
fn is_connector(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_uppercase())
        && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
}

fn pin(end: &Text, connector: &str, side: Side, draft: &mut Draft) -> NodeId {
    let inner = draft.nodes.named(&format!("{}{BOARD_SIDE}", end.text));
    let outer = draft.nodes.named(&end.text);
    join(draft, connector, &end.text, inner, outer);
    let id = if side == Side::Board { inner } else { outer };
    draft.nodes.touch(id, end.span.clone());
    id
}

fn tab(
    end: &Text,
    owner: &str,
    terminal: &str,
    draft: &mut Draft,
    findings: &mut Findings,
) -> Option<NodeId> {
    let owner_text = Text { text: owner.to_owned(), span: end.span.clone() };
    let part = match draft.part(owner) {
        Some(part) => part,
        None if draft.is_absent(owner) => return None,
        None => {
            unknown_owner(&owner_text, terminal, draft, findings);
            return None;
        }
    };
    let kind = draft.parts[part].kind;
    let Some(at) = kind.terminals.iter().position(|t| t.name == terminal) else {
        let names: Vec<&str> = kind.terminals.iter().map(|t| t.name).collect();
        let mut d = Diagnostic::error(
            "unknown-terminal",
            end.span.clone(),
            format!("`{owner}` (a {}) has no terminal `{terminal}`", kind.name),
        );
        d = match (names.is_empty(), nearest(terminal, names.iter().copied())) {
            (true, _) => d.mend(format!("a {} has no terminals to wire", kind.name)),
            (_, Some(near)) => {
                d.mend(format!("did you mean `{owner}.{near}`? Its terminals: {}", names.join(", ")))
            }
            _ => d.mend(format!("its terminals: {}", names.join(", "))),
        };
        findings.push(d);
        return None;
    };
    let outer = draft.nodes.named(&end.text);
    if draft.parts[part].terminals[at].is_none() {
        let inner = draft.nodes.named(&format!("{}@part", end.text));
        draft.parts[part].terminals[at] = Some(inner);
        join(draft, &end.text, &end.text, inner, outer);
    }
    draft.nodes.touch(outer, end.span.clone());
    Some(outer)
}

fn unknown_owner(owner: &Text, terminal: &str, draft: &Draft, findings: &mut Findings) {
    let with: Vec<String> = draft
        .parts
        .iter()
        .filter(|p| p.kind.terminals.iter().any(|t| t.name == terminal))
        .map(|p| format!("{}.{terminal}", p.id))
        .take(8)
        .collect();
    let mut d = Diagnostic::error(
        "unknown-part",
        owner.span.clone(),
        format!("this ends at `{}.{terminal}`, but no part is called `{}`", owner.text, owner.text),
    )
    .label("not in this file");
    if let Some(near) = nearest(&owner.text, draft.parts.iter().map(|p| p.id.as_str())) {
        d = d.mend(format!("did you mean \"{near}.{terminal}\"?"));
    } else if !with.is_empty() {
        d = d.mend(format!("parts with a terminal {terminal}: {}", with.join(", ")));
    }
    findings.push(d.mend(format!("or add a table [part.{}]", owner.text)));
}

fn join(draft: &mut Draft, opens_with: &str, name: &str, inner: NodeId, outer: NodeId) {
    if !draft.joints.iter().any(|j| j.name == name) {
        draft.joints.push(Joint { opens_with: opens_with.to_owned(), name: name.to_owned(), inner, outer });
    }
}

/// `pins = { l = "J1.1" }`: terminals that sit on the board itself, without a tab of their own.
fn pins_on_board(file: &Fields<'_>, draft: &mut Draft, findings: &mut Findings) {
    for (name, table, span) in file.named_tables("part", findings) {
        let Some(part) = draft.part(&name.text) else { continue };
        let fields = Fields::bare(table, format!("[part.{}]", name.text), span);
        for (terminal, pin) in fields.text_by_name("pins", findings) {
            let kind = draft.parts[part].kind;
            let Some(at) = kind.terminals.iter().position(|t| t.name == terminal.text) else {
                let names: Vec<&str> = kind.terminals.iter().map(|t| t.name).collect();
                findings.push(
                    Diagnostic::error(
                        "unknown-terminal",
                        terminal.span.clone(),
                        format!("a {} has no terminal `{}`", kind.name, terminal.text),
                    )
                    .mend(format!("its terminals: {}", names.join(", "))),
                );
                continue;
            };
            draft.parts[part].terminals[at] = endpoint(&pin, Side::Board, draft, findings);
        }
    }
}

/// Reports terminals, pins and nets that lead nowhere.
pub(super) fn check(draft: &Draft, findings: &mut Findings) {
    for part in &draft.parts {
        for (terminal, node) in part.kind.terminals.iter().zip(&part.terminals) {
            if terminal.must && node.is_none() {
                let class =
                    if terminal.role == kind::Role::Earth { "missing-earth" } else { "dangling-terminal" };
                if class == "missing-earth"
                    && draft.plate.as_ref().is_some_and(|p| p.class != crate::model::Class::I)
                {
                    continue;
                }
                let what = format!("nothing is connected to `{}.{}`", part.id, terminal.name);
                let mend = if class == "missing-earth" {
                    format!(
                        "a class I machine earths its metal: add a wire \"{}.{} = chassis\"",
                        part.id, terminal.name
                    )
                } else {
                    format!("add a wire that ends at \"{}.{}\" to a loom", part.id, terminal.name)
                };
                findings.push(
                    Diagnostic::error(class, part.at.clone(), what)
                        .label(format!("a {}", part.kind.name))
                        .mend(mend),
                );
            }
        }
    }
    for joint in draft.joints.iter().filter(|j| j.opens_with != j.name) {
        pin_sides(draft, joint, findings);
    }
    for (id, name) in draft.nodes.names.iter().enumerate() {
        let free = id > crate::model::node::CHASSIS && !name.contains('.');
        if let (true, [only]) = (free, draft.nodes.touched[id].as_slice()) {
            let mut d = Diagnostic::error(
                "dangling-net",
                only.clone(),
                format!("the net `{name}` is named only here"),
            )
            .label("leads nowhere");
            let others = draft.nodes.names.iter().filter(|n| *n != name && !n.contains(['.', '@']));
            if let Some(near) = nearest(name, others.map(String::as_str)) {
                d = d.mend(format!("did you mean `{near}`?"));
            }
            findings.push(d.mend("name the net at its other end too"));
        }
    }
}

fn pin_sides(draft: &Draft, joint: &Joint, findings: &mut Findings) {
    let loom = draft.nodes.is_touched(&joint.name);
    let board = draft.nodes.is_touched(&format!("{}{BOARD_SIDE}", joint.name));
    let (present, missing) = match (loom, board) {
        (true, false) => (joint.outer, "no output, input or part of the board uses this pin"),
        (false, true) => (joint.inner, "no wire of a loom ends at this pin"),
        _ => return,
    };
    let Some(span) = draft.nodes.touched[present].first() else { return };
    findings.push(
        Diagnostic::error("dangling-pin", span.clone(), format!("`{}` leads nowhere: {missing}", joint.name))
            .label("dangling")
            .mend("check the pin's number, or add what is at its other side"),
    );
}
