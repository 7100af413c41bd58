//! Everything that a technician could check on this machine, from its wiring, its kinds of part and its service test.

use crate::check::{Check, CheckKind, Instrument, Power, RUNS};
use crate::setup::Setup;
use bench::Conditions;
use machine::caution::{DEAD, joined};
use machine::kind::{Mend, Role, SUPPLY_EARTH, SUPPLY_LINE, SUPPLY_NEUTRAL};
use machine::model::{Joint, Machine, NodeId, PanelId, Part, PartId};

/// Minutes to set the probes and read. Common practice, no source.
const PROBE_MINUTES: f64 = 2.0;

/// Minutes to take off a connector or a tab and put it back. Common practice, no source.
const UNPLUG_MINUTES: f64 = 0.5;

/// Minutes to enter the service test, to look at the step, and to leave the test again. Common practice, no source.
const ENTER_MINUTES: f64 = 2.5;

/// Longest that a step before the wanted one is left running, s: most can be pressed on.
const PRESSED_ON_AFTER_S: f64 = 15.0;

/// The usual words before something open is looked at with the mains on.
const LOOK: &str = "For competent persons under local rules.";

/// The words before a measurement on a live appliance.
const LIVE: &str = "Live: for competent persons under local rules. Hang fused, insulated probes with finger guards on the \
    dead machine, stand dry, then plug in, touch nothing, and read; unplug and prove it dead before you move a probe. It runs with panels \
    off: mains, heat and moving parts lie open. One hand only where a probe must be held.";

/// A load counts as fed from this share of the supply.
const FED_FROM: f64 = 0.5;

/// All checks, in a fixed order: steps, eyes and hands, ohms, insulation, live volts where these are allowed.
///
/// `about` limits ohms and hand checks to what could concern these parts; steps and the file's own checks are always in.
pub fn candidates(machine: &Machine, setup: &Setup, about: &[PartId]) -> Vec<Check> {
    let mut all = reruns(machine);
    all.extend(own(machine));
    for &part in about {
        all.extend(by_hand(machine, part));
    }
    let mut ohms: Vec<Check> = Vec::new();
    for &part in about {
        ohms.extend(of_part(machine, part));
    }
    ohms.extend(of_plug(machine));
    ohms.extend(of_connectors(machine, about));
    for check in ohms {
        if !all.iter().any(|c| c.id == check.id) {
            all.push(check);
        }
    }
    if setup.live {
        all.extend(about.iter().flat_map(|&part| of_volts(machine, part)));
    }
    all.retain(|c| setup.owns(c.instrument).is_some() && (setup.live || c.power != Power::Live));
    all
}

/// A known-good part in place of each of these that is mended by a new one: fit it and try. It stays in until the job is done
/// (what is measured after it is of the machine with it), and goes back to the van if it was not that, so that it costs its
/// minutes alone. Wires are mended, not swapped.
pub(crate) fn swaps(machine: &Machine, setup: &Setup, about: &[PartId]) -> Vec<Check> {
    let fits = |id: &PartId| {
        let part = &machine.parts[*id];
        part.ends.is_none() && part.kind.modes.iter().any(|m| m.mend == Mend::Fit)
    };
    let of = |id: PartId| {
        let part = &machine.parts[id];
        let access = panels(machine, &part.behind);
        Check {
            id: format!("swap {}", part.id),
            kind: CheckKind::Swap,
            says: format!(
                "Fit a known-good {} in its place, close up and run the machine. Does it work with it? Leave it in until the job is done.",
                part.in_words()
            ),
            between: None,
            unplugged: Vec::new(),
            step: None,
            instrument: Instrument::None,
            minutes: setup.costs.mending(true) + setup.costs.proof,
            caution: cautions(machine, RUNS, &access, true),
            access,
            power: Power::Dead,
        }
    };
    about.iter().copied().filter(fits).map(of).collect()
}

fn reruns(machine: &Machine) -> Vec<Check> {
    let steps = &machine.test.steps;
    let before = |at: usize| steps[..at].iter().map(|s| s.lasts_s.min(PRESSED_ON_AFTER_S)).sum::<f64>();
    steps
        .iter()
        .enumerate()
        .map(|(at, step)| {
            let own = if step.caution.is_empty() { RUNS } else { &step.caution };
            let caution = joined(&[&machine.test.on_the_way(at), own]);
            let lasts_s = step.at_most_s.unwrap_or(step.lasts_s);
            Check {
                id: format!("step {}", step.id),
                kind: CheckKind::Rerun,
                says: format!("Run step {} ({}) and read watts and amperes at the plug.", step.id, step.says),
                between: None,
                unplugged: Vec::new(),
                step: Some(at),
                instrument: Instrument::PowerMeter,
                minutes: ENTER_MINUTES + (before(at) + lasts_s) / 60.0,
                access: Vec::new(),
                power: Power::Closed,
                caution,
            }
        })
        .collect()
}

/// Panels to take off for these, and those that must be off before them, in order of taking off.
pub fn panels(machine: &Machine, behind: &[PanelId]) -> Vec<PanelId> {
    fn add(machine: &Machine, panel: PanelId, all: &mut Vec<PanelId>) {
        if !all.contains(&panel) {
            for &before in &machine.panels[panel].after {
                add(machine, before, all);
            }
            all.push(panel);
        }
    }
    let mut all = Vec::new();
    for &panel in behind {
        add(machine, panel, &mut all);
    }
    all
}

/// The caution of the check itself, that of being dead, and those of the panels.
pub(crate) fn cautions(machine: &Machine, own: &str, access: &[PanelId], dead: bool) -> String {
    let mut all: Vec<&str> = Vec::new();
    if dead && !own.to_lowercase().contains("unplug") {
        all.push(DEAD);
    }
    all.push(own);
    all.extend(access.iter().map(|&p| machine.panels[p].caution.as_str()));
    joined(&all)
}

/// The cautions of a check by eye or hand, by how the machine is supplied meanwhile. What is opened is opened dead, also
/// where it is looked at live.
fn supplied(machine: &Machine, own: &str, access: &[PanelId], power: Power) -> String {
    let opened = !access.is_empty();
    match power {
        Power::Dead => cautions(machine, own, access, opened),
        Power::Closed => cautions(machine, if own.is_empty() { RUNS } else { own }, access, false),
        Power::Live if opened => {
            let look = format!("{DEAD} Switch on only once it is open and clear. {own} {LOOK}");
            cautions(machine, &look, access, false)
        }
        Power::Live => cautions(machine, &format!("{own} {LOOK}"), access, false),
    }
}

fn by_hand(machine: &Machine, id: PartId) -> Vec<Check> {
    let part = &machine.parts[id];
    let of = |check: &machine::kind::HandCheck| {
        let access = if check.at_part { panels(machine, &part.behind) } else { Vec::new() };
        Check {
            id: format!("hand {} {}", part.id, check.id),
            kind: CheckKind::Observation,
            says: format!("{}: {}", part.id, check.ask),
            between: None,
            unplugged: Vec::new(),
            step: None,
            instrument: Instrument::None,
            minutes: check.minutes,
            caution: supplied(machine, check.caution, &access, check.power),
            access,
            power: check.power,
        }
    };
    part.kind.checks.iter().map(of).collect()
}

fn own(machine: &Machine) -> Vec<Check> {
    let of = |check: &machine::model::OwnCheck| {
        let access = panels(machine, &check.behind);
        Check {
            id: format!("own {}", check.id),
            kind: CheckKind::Observation,
            says: check.ask.clone(),
            between: None,
            unplugged: Vec::new(),
            step: None,
            instrument: Instrument::None,
            minutes: check.minutes,
            caution: supplied(machine, &check.caution, &access, check.power),
            access,
            power: check.power,
        }
    };
    machine.checks.iter().map(of).collect()
}

/// Ohms between two named points, with these off.
pub(crate) fn probe(
    machine: &Machine,
    [a, b]: [&str; 2],
    unplugged: Vec<String>,
    access: Vec<PanelId>,
) -> Check {
    let off = if unplugged.is_empty() { String::new() } else { format!(" off {}", unplugged.join(" ")) };
    let first =
        if unplugged.is_empty() { String::new() } else { format!("Take off {}. ", unplugged.join(" and ")) };
    Check {
        id: format!("ohms {a} {b}{off}"),
        kind: CheckKind::Resistance,
        says: format!("{first}Measure ohms between {a} and {b}."),
        between: Some([a.to_owned(), b.to_owned()]),
        step: None,
        instrument: Instrument::Multimeter,
        minutes: PROBE_MINUTES + UNPLUG_MINUTES * unplugged.len() as f64,
        unplugged,
        caution: cautions(machine, "", &access, true),
        access,
        power: Power::Dead,
    }
}

/// Ohms across a part and from it to the metal, at its own terminals with a tab pulled.
fn of_part(machine: &Machine, id: PartId) -> Vec<Check> {
    let part = &machine.parts[id];
    if let Some((a, b)) = &part.ends {
        // A wire, end to end.
        let behind: Vec<PanelId> = [a, b].iter().flat_map(|end| reach(machine, end)).collect();
        return vec![probe(machine, [a, b], Vec::new(), panels(machine, &behind))];
    }
    let access = panels(machine, &part.behind);
    let named: Vec<(String, Role)> = part
        .kind
        .terminals
        .iter()
        .zip(&part.terminals)
        .filter(|(_, node)| node.is_some())
        .map(|(t, _)| (format!("{}.{}", part.id, t.name), t.role))
        .filter(|(name, _)| bench::find_node(machine, name).is_ok())
        .collect();
    let tab = |name: &String| -> Vec<String> {
        if machine.unpluggable().any(|u| u == name) { vec![name.clone()] } else { Vec::new() }
    };
    let mut all = Vec::new();
    for (i, (a, role_a)) in named.iter().enumerate() {
        for (b, role_b) in &named[i + 1..] {
            if *role_a != Role::Earth && *role_b != Role::Earth {
                all.push(probe(machine, [a, b], tab(a), access.clone()));
            }
        }
        if *role_a == Role::Power {
            all.push(probe(machine, [a, "chassis"], tab(a), access.clone()));
            all.push(insulation(probe(machine, [a, "chassis"], tab(a), access.clone())));
        }
        if *role_a == Role::Earth {
            all.push(probe(machine, [a, "chassis"], Vec::new(), access.clone()));
        }
    }
    all
}

/// Volts across a load in the step that drives it with the fewest others; live.
fn of_volts(machine: &Machine, id: PartId) -> Vec<Check> {
    let part = &machine.parts[id];
    let supply_v = machine.plate.supply_v;
    let steps = &machine.test.steps;
    let powered = part.kind.terminals.iter().zip(&part.terminals);
    let named: Vec<String> = powered
        .filter(|(t, node)| t.role == Role::Power && node.is_some())
        .map(|(t, _)| format!("{}.{}", part.id, t.name))
        .filter(|_| part.ends.is_none() && machine.outputs.iter().all(|o| o.part != id))
        .collect();
    let access = panels(machine, &part.behind);
    let mut all = Vec::new();
    for (i, a) in named.iter().enumerate() {
        for b in &named[i + 1..] {
            let Ok(volts) = bench::volts_by_step(machine, &Conditions::at(supply_v), (a, b)) else {
                continue;
            };
            let driven = (0..steps.len()).filter(|&at| volts[at].value > FED_FROM * supply_v);
            let Some(at) = driven.min_by_key(|&at| steps[at].drives.len()) else { continue };
            all.push(Check {
                id: format!("volts {a} {b} in {}", steps[at].id),
                kind: CheckKind::Voltage,
                says: format!("Run step {} and measure AC volts between {a} and {b}.", steps[at].id),
                between: Some([a.clone(), b.clone()]),
                unplugged: Vec::new(),
                step: Some(at),
                instrument: Instrument::Multimeter,
                minutes: ENTER_MINUTES + PROBE_MINUTES + at as f64 * PRESSED_ON_AFTER_S / 60.0,
                caution: cautions(
                    machine,
                    &joined(&[LIVE, &machine.test.on_the_way(at), &steps[at].caution]),
                    &access,
                    false,
                ),
                access: access.clone(),
                power: Power::Live,
            });
        }
    }
    all
}

/// The same points with an insulation tester.
pub(crate) fn insulation(check: Check) -> Check {
    Check {
        id: check.id.replacen("ohms", "insulation", 1),
        kind: CheckKind::Insulation,
        says: check.says.replacen("Measure ohms", "Measure insulation", 1),
        instrument: Instrument::InsulationTester,
        caution: format!(
            "{} The tester puts some 500 V on the points: hands off while it does.",
            check.caution
        ),
        ..check
    }
}

/// Panels to a terminal's part or a connector's board.
pub(crate) fn reach(machine: &Machine, end: &str) -> Vec<PanelId> {
    let joints = || machine.joints.iter().filter(|j| j.name == end || j.opens_with == end);
    let at =
        |node: NodeId| machine.parts.iter().find(|p| p.ends.is_none() && p.terminals.contains(&Some(node)));
    let found: Option<&Part> = joints().find_map(|j| at(j.inner)).or_else(|| {
        let part = end.split_once('.').map_or(end, |(part, _)| part);
        machine.part(part).map(|p| &machine.parts[p])
    });
    if let Some(part) = found {
        return part.behind.clone();
    }
    // A pin that the board only senses with: where the connector's other pins are.
    let connector = end.split_once('.').map_or(end, |(connector, _)| connector);
    let sibling = machine.joints.iter().filter(|j| j.opens_with == connector).find_map(|j| at(j.inner));
    let board = sibling.or_else(|| machine.outputs.first().map(|o| &machine.parts[o.board]));
    board.map(|p| p.behind.clone()).unwrap_or_default()
}

/// Ohms at the pins of the plug: nothing to take off.
fn of_plug(machine: &Machine) -> Vec<Check> {
    let pairs = [
        (SUPPLY_LINE, SUPPLY_NEUTRAL, "the plug's line and neutral pins"),
        (SUPPLY_EARTH, "chassis", "the plug's earth pin and the metal of the cabinet"),
        (SUPPLY_LINE, "chassis", "the plug's line pin and the metal of the cabinet"),
    ];
    let of = |(a, b, words): (&str, &str, &str)| Check {
        says: format!("Pull the plug and measure ohms between {words}."),
        caution:
            "Pull the plug first; a filter's capacitor may hold a charge at its pins: do not touch them."
                .to_owned(),
        ..probe(machine, [a, b], Vec::new(), Vec::new())
    };
    pairs.into_iter().map(of).collect()
}

/// Ohms from the board: pins of one connector, taken off, with each other and to neutral.
fn of_connectors(machine: &Machine, about: &[PartId]) -> Vec<Check> {
    let mut connectors: Vec<&str> = Vec::new();
    let pins = |connector: &str| -> Vec<&Joint> {
        machine.joints.iter().filter(|j| j.opens_with == connector && j.name != connector).collect()
    };
    for joint in machine.joints.iter().filter(|j| j.opens_with != j.name) {
        if !connectors.contains(&joint.opens_with.as_str()) {
            connectors.push(&joint.opens_with);
        }
    }
    let concerns = |joint: &Joint| {
        about.iter().any(|&p| {
            let part = &machine.parts[p];
            part.terminals.contains(&Some(joint.inner)) || part.terminals.contains(&Some(joint.outer))
        })
    };
    let mut all = Vec::new();
    for connector in connectors {
        let pins = pins(connector);
        if !pins.iter().any(|p| concerns(p)) {
            continue;
        }
        let access = panels(machine, &reach(machine, connector));
        for (i, a) in pins.iter().enumerate() {
            for b in &pins[i + 1..] {
                all.push(probe(machine, [&a.name, &b.name], vec![connector.to_owned()], access.clone()));
            }
            if machine.node("neutral").is_some() {
                all.push(probe(machine, [&a.name, "neutral"], vec![connector.to_owned()], access.clone()));
            }
            all.push(probe(machine, [&a.name, "chassis"], vec![connector.to_owned()], access.clone()));
        }
    }
    all
}
