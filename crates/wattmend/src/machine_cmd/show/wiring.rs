//! Wiring, connector by connector and pin by pin.

use super::{Page, names, way_to};
use machine::model::{Joint, Machine, NodeId, Part, Senses};

pub(super) fn print(machine: &Machine, page: &mut Page) {
    let mut pins: Vec<&Joint> = machine.joints.iter().filter(|j| j.opens_with != j.name).collect();
    pins.sort_by_key(|j| (j.opens_with.clone(), pin_number(j), j.name.clone()));
    page.heading("Wiring by connector");
    let mut connector = "";
    for pin in &pins {
        if pin.opens_with != connector {
            connector = &pin.opens_with;
            page.line("  ", connector);
        }
        let ends = wires_at(machine, &pin.name);
        let wires = if ends.is_empty() { "nothing in this variant".to_owned() } else { ends.join(", ") };
        page.line("    ", &format!("{}  to {wires}; {}", pin.name, used_by(machine, pin.inner)));
    }
    let free =
        |p: &&Part| p.ends.as_ref().is_some_and(|(a, b)| !pins.iter().any(|j| j.name == *a || j.name == *b));
    let others: Vec<&Part> = machine.parts.iter().filter(free).collect();
    if !others.is_empty() {
        page.heading("Other wires");
    }
    for wire in others {
        let Some((a, b)) = &wire.ends else { continue };
        page.line("  ", &format!("{a} – {b}"));
    }
    looms(machine, page);
}

/// The number after the point, so that J2.10 comes after J2.9.
fn pin_number(joint: &Joint) -> u32 {
    joint.name.rsplit('.').next().and_then(|n| n.parse().ok()).unwrap_or(u32::MAX)
}

/// The far ends of the wires at a pin.
fn wires_at(machine: &Machine, pin: &str) -> Vec<String> {
    let ends = machine.parts.iter().filter_map(|p| p.ends.as_ref());
    ends.filter_map(|(a, b)| match (a == pin, b == pin) {
        (true, _) => Some(b.clone()),
        (_, true) => Some(a.clone()),
        _ => None,
    })
    .collect()
}

/// What uses a node on the board's side.
fn used_by(machine: &Machine, node: NodeId) -> String {
    let mut users: Vec<String> = Vec::new();
    for part in machine.parts.iter().filter(|p| p.ends.is_none()) {
        for (terminal, at) in part.kind.terminals.iter().zip(&part.terminals) {
            if *at == Some(node) {
                users.push(format!("{} {}", part.id, terminal.name));
            }
        }
    }
    for input in &machine.inputs {
        let there = match &input.senses {
            Senses::Volts { node: at, .. } => *at == node,
            Senses::Ohms(a, b) | Senses::Contact(a, b) => *a == node || *b == node,
            Senses::Part { pins, .. } => pins.contains(&node),
        };
        if there {
            users.push(format!("senses {}", input.name));
        }
    }
    if users.is_empty() { "not used".to_owned() } else { users.join(", ") }
}

/// Where each loom lies, and how it is ordered.
fn looms(machine: &Machine, page: &mut Page) {
    page.heading("Looms");
    let mut told: Vec<&str> = Vec::new();
    for wire in machine.parts.iter().filter(|p| p.ends.is_some()) {
        let name = wire.id.rsplit_once('.').map_or(wire.id.as_str(), |(loom, _)| loom);
        if told.contains(&name) {
            continue;
        }
        told.push(name);
        let way = way_to(machine, &wire.behind);
        let behind = if way.panels.is_empty() {
            String::new()
        } else {
            format!(", behind {} ({} min)", names(machine, &way.panels), way.minutes)
        };
        let order = if wire.order.is_empty() { String::new() } else { format!(", order {}", wire.order) };
        page.line("  ", &format!("{name}{behind}{order}"));
    }
}
