//! Checks of a machine file that need the machine to be run: shorts, idle outputs, the rating plate, the earth.

use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::moment::{Asked, Solver};
use crate::prediction::Trip;
use crate::step::{Bench, State};
use circuit::Resistance;
use machine::diagnostic::Diagnostic;
use machine::kind::Role;
use machine::model::{Class, Drive, Machine, Part, Step, node};

/// Protective earth of a part must reach the socket's within this, Ω. Only structure is judged here, not a reading.
const EARTH_REACHES_BELOW_OHM: f64 = 1.0;

/// Watts of a load below which it says nothing about the rating plate.
const LOAD_FROM_W: f64 = 1.0;

/// All that is wrong with the text of a machine file: what reading finds and, where it finds no error, what running the machine
/// finds, once for each variant. And the machine as its first variant, where reading found no error.
pub fn check(text: &str) -> (Option<Machine>, Vec<Diagnostic>) {
    let first = machine::read::read(text, None);
    let mut found = first.diagnostics;
    let Some(machine) = first.machine else { return (None, found) };
    found.extend(review(&machine));
    for variant in machine.plate.variants.iter().skip(1) {
        let other = machine::read::read(text, Some(variant));
        found.extend(other.diagnostics);
        found.extend(other.machine.iter().flat_map(review));
    }
    found.sort_by_key(|d| (d.span.start, d.span.end, d.severity));
    found.dedup();
    (Some(machine), found)
}

/// What running a machine finds.
pub fn review(machine: &Machine) -> Vec<Diagnostic> {
    let mut found = earth(machine);
    let mut bench = Bench::new(machine);
    let conditions = Conditions::at(machine.plate.supply_v);
    let predictions = bench.predict(&Hypothesis::healthy(), &conditions);
    for (step, prediction) in machine.test.steps.iter().zip(&predictions) {
        if let Some(trip) = &prediction.trip {
            found.push(short(machine, step, trip));
            // Every step after it stands still; more findings would only repeat this one.
            return found;
        }
        if !prediction.refused.is_empty() {
            found.push(refused(machine, step, &prediction.refused));
        }
    }
    found.extend(unreached(machine));
    found.extend(plate(machine, predictions.iter().map(|p| p.power_w.value)));
    found
}

fn short(machine: &Machine, step: &Step, trip: &Trip) -> Diagnostic {
    match trip {
        Trip::Residual => Diagnostic::error(
            "leak-in-step",
            step.at.clone(),
            format!("in step `{}` more than 30 mA flow to earth in a healthy machine", step.id),
        )
        .mend("look for a wire that joins a mains point to chassis or to an earth terminal"),
        Trip::Overcurrent(parts) => {
            let way: Vec<String> = parts.iter().map(|&p| named(&machine.parts[p])).collect();
            let mut d = Diagnostic::error(
                "short",
                step.at.clone(),
                format!("in step `{}` line and neutral are joined without a load between", step.id),
            )
            .label("short across the supply");
            if !way.is_empty() {
                d = d.mend(format!("it goes through: {}", way.join(", ")));
            }
            d.mend("one of these wires or outputs ends at the wrong point")
        }
    }
}

/// A part as a person finds it in the file: a wire by its ends.
fn named(part: &Part) -> String {
    match &part.ends {
        Some((a, b)) => format!("the wire {a} – {b}"),
        None => part.id.clone(),
    }
}

fn refused(machine: &Machine, step: &Step, outputs: &[usize]) -> Diagnostic {
    let names: Vec<&str> = outputs.iter().map(|&o| machine.outputs[o].name.as_str()).collect();
    Diagnostic::warning(
        "refused-when-healthy",
        step.at.clone(),
        format!("in step `{}` a guard refuses {} although nothing is wrong", step.id, names.join(", ")),
    )
    .mend("check the guard's needs against what is driven by then: water in, door locked, drum driven")
}

/// Loads that no output, step or function ever puts current through.
fn unreached(machine: &Machine) -> Vec<Diagnostic> {
    let mut carries = vec![false; machine.parts.len()];
    let mut idle_outputs: Vec<usize> = (0..machine.outputs.len()).collect();
    let mut solver = Solver::new(machine);
    let modes = vec![None; machine.parts.len()];
    let state = State { level_l: 8.0, locked: true, ..State::start(&Conditions::at(machine.plate.supply_v)) };
    let steps = machine.test.steps.iter().map(|s| &s.drives);
    let functions = machine.functions.iter().map(|f| &f.drives);
    let mut runs: Vec<Vec<Drive>> = vec![Vec::new()];
    for drives in steps.chain(functions) {
        idle_outputs.retain(|&o| {
            !drives.iter().any(|d| d.output == o || machine.outputs[d.output].reverse.contains(&o))
        });
        runs.push(drives.clone());
        runs.push(
            drives
                .iter()
                .map(|d| Drive { rpm: if d.both_ways { -d.rpm } else { d.rpm }, ..d.clone() })
                .collect(),
        );
    }
    for drives in runs {
        let moment = solver.moment(&modes, &drives, &state, machine.plate.supply_v, Asked::default());
        if moment.trip.is_some() {
            continue;
        }
        if let Ok(solved) = solver.wiring.solve(machine.plate.supply_v) {
            let mut flows = machine::kind::Flows::default();
            for (id, carried) in carries.iter_mut().enumerate() {
                solved.flows(id, &mut flows);
                *carried |= flows.amps.iter().any(|a| a.0.hypot(a.1) > 1e-4);
                *carried |= moment.effect(id).is_some();
            }
        }
    }
    let mut found = Vec::new();
    for (id, part) in machine.parts.iter().enumerate() {
        let is_load = part.kind.params.iter().any(|p| matches!(p.name, "draws" | "rated"));
        if is_load && !carries[id] {
            found.push(
                Diagnostic::error(
                    "unreachable-load",
                    part.at.clone(),
                    format!("no step or function puts current through `{}`", part.id),
                )
                .label(format!("a {}", part.kind.name))
                .mend("follow its wires: both ends must reach the supply when its output is driven")
                .mend("or drive its output in a step or a [function]"),
            );
        }
    }
    for output in idle_outputs {
        let output = &machine.outputs[output];
        found.push(
            Diagnostic::warning(
                "never-driven",
                output.at.clone(),
                format!("no step and no function drives `{}`", output.name),
            )
            .mend("drive it in a step or a [function], or take it out"),
        );
    }
    found
}

/// The rating plate against the largest power of any step or function, after IEC 60335-1, 10.1, Table 1.
fn plate(machine: &Machine, steps: impl Iterator<Item = f64>) -> Option<Diagnostic> {
    let rated = machine.plate.rated_w?;
    let mut solver = Solver::new(machine);
    let modes = vec![None; machine.parts.len()];
    let conditions = Conditions::at(machine.plate.supply_v);
    let functions: Vec<f64> = machine
        .functions
        .iter()
        .map(|f| {
            let state = State { level_l: f.water_l, locked: true, ..State::start(&conditions) };
            let moment = solver.moment(&modes, &f.drives, &state, conditions.supply_v, Asked::default());
            if moment.trip.is_some() { 0.0 } else { moment.plug.power_w }
        })
        .collect();
    let largest = steps.chain(functions).fold(0.0, f64::max);
    if largest < LOAD_FROM_W || rated <= 0.0 {
        return None;
    }
    // +5 % or 20 W, whichever is greater, and -10 % for a heating or combined appliance above 200 W; wide limits below.
    let (low, high) = if rated > 200.0 {
        (0.9 * rated, rated + (0.05 * rated).max(20.0))
    } else {
        (0.8 * rated, 1.2 * rated)
    };
    if (low..=high).contains(&largest) {
        return None;
    }
    Some(
        Diagnostic::error(
            "plate-disagrees",
            machine.plate.at.clone(),
            format!(
                "the plate says {rated:.0} W, but the most that any step or function draws is {largest:.0} W"
            ),
        )
        .label("[machine]")
        .mend(format!("allowed after IEC 60335-1 (10.1): {low:.0} to {high:.0} W"))
        .mend("check the rated power here, and the `rated` and `draws` of the loads that run together"),
    )
}

/// An optional earth that is not wired: right for a plastic housing only.
fn unearthed(part: &machine::model::Part, terminal: &str) -> Diagnostic {
    Diagnostic::warning("no-earth", part.at.clone(), format!("`{}` has no earth wire", part.id))
        .label(format!("a {}", part.kind.name))
        .mend(format!("if it has a metal housing or an earth tab, add \"{}.{terminal} = chassis\"", part.id))
}

/// Earth terminals of a class I machine that do not reach the socket's earth.
fn earth(machine: &Machine) -> Vec<Diagnostic> {
    if machine.plate.class != Class::I {
        return Vec::new();
    }
    let mut solver = Solver::new(machine);
    let state = State::start(&Conditions::at(machine.plate.supply_v));
    solver.dead(&vec![None; machine.parts.len()], &state);
    let mut found = Vec::new();
    for part in &machine.parts {
        for (terminal, at) in part.kind.terminals.iter().zip(&part.terminals) {
            let (Role::Earth, Some(at)) = (terminal.role, at) else {
                if terminal.role == Role::Earth && !terminal.must {
                    found.push(unearthed(part, terminal.name));
                }
                continue;
            };
            let reaches = matches!(solver.wiring.resistance(*at, node::EARTH),
                Resistance::Ohms(r) if r < EARTH_REACHES_BELOW_OHM);
            if !reaches {
                found.push(
                    Diagnostic::error(
                        "missing-earth",
                        part.at.clone(),
                        format!("the earth of `{}` does not reach the plug", part.id),
                    )
                    .label("class I: metal must be earthed")
                    .mend(format!(
                        "add wires so that `{}.{}` joins the earth of the cord, for instance over chassis",
                        part.id, terminal.name
                    )),
                );
            }
        }
    }
    found
}
