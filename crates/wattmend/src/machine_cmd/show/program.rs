//! What the board does: outputs, inputs, guards, ordinary use, the service test and the codes.

use super::{Page, names, parts, way_to};
use machine::model::{
    Condition, Drive, GoesOn, Guard, Input, Machine, Moment, NodeId, Otherwise, Output, Senses, Step,
};
use quantity::{Dimension, format};

pub(super) fn print(machine: &Machine, page: &mut Page) {
    outputs(machine, page);
    inputs(machine, page);
    guards(machine, page);
    functions(machine, page);
    service_test(machine, page);
    codes(machine, page);
    checks(machine, page);
}

fn outputs(machine: &Machine, page: &mut Page) {
    if machine.outputs.is_empty() {
        return;
    }
    page.heading("Outputs of the board");
    for output in &machine.outputs {
        output_line(machine, output, page);
    }
}

fn output_line(machine: &Machine, output: &Output, page: &mut Page) {
    let part = &machine.parts[output.part];
    let at: Vec<String> = part.terminals.iter().flatten().map(|&n| node_name(machine, n)).collect();
    let mut words = vec![format!("{}: {} between {}", output.name, part.kind.name, at.join(", "))];
    if let Some(motor) = output.motor {
        words.push(format!("sets the speed of {}", machine.parts[motor].id));
    }
    if !output.reverse.is_empty() {
        let with: Vec<&str> = output.reverse.iter().map(|&o| machine.outputs[o].name.as_str()).collect();
        words.push(format!("turns left with {}", with.join(", ")));
    }
    page.line("  ", &words.join(", "));
    let faults = parts::faults(part);
    if !faults.is_empty() {
        page.line("    ", &format!("faults: {}", faults.join(", ")));
    }
}

/// A node's name without the reader's mark for the inner side.
fn node_name(machine: &Machine, node: NodeId) -> String {
    machine.nodes[node].split('@').find(|s| !s.is_empty()).unwrap_or_default().to_owned()
}

fn inputs(machine: &Machine, page: &mut Page) {
    if machine.inputs.is_empty() {
        return;
    }
    page.heading("Inputs of the board");
    for input in &machine.inputs {
        page.line("  ", &format!("{}: {}", input.name, senses(machine, input)));
    }
}

fn senses(machine: &Machine, input: &Input) -> String {
    let name = |n: NodeId| node_name(machine, n);
    match &input.senses {
        Senses::Volts { node, above } => {
            format!(
                "true when {} has more than {} against neutral",
                name(*node),
                format(*above, Dimension::Voltage)
            )
        }
        Senses::Ohms(a, b) => {
            let plausible = input.plausible.map_or(String::new(), |(low, high)| {
                let [low, high] = [low, high].map(|r| format(r, Dimension::Resistance));
                format!(", takes {low} … {high} for plausible")
            });
            format!("ohms between {} and {}{plausible}", name(*a), name(*b))
        }
        Senses::Contact(a, b) => format!("true when {} and {} are joined", name(*a), name(*b)),
        Senses::Part { part, pins } => {
            let pins: Vec<String> = pins.iter().map(|&p| name(p)).collect();
            let over = if pins.is_empty() { String::new() } else { format!(" over {}", pins.join(", ")) };
            format!("what {} reports{over}", machine.parts[*part].id)
        }
    }
}

fn guards(machine: &Machine, page: &mut Page) {
    if machine.guards.is_empty() {
        return;
    }
    page.heading("Guards");
    for guard in &machine.guards {
        page.line("  ", &guard_words(machine, guard));
    }
}

fn guard_words(machine: &Machine, guard: &Guard) -> String {
    let output = &machine.outputs[guard.output].name;
    let moment = match guard.moment {
        Moment::Before => format!("Before {output} is switched on"),
        Moment::While => format!("All the while {output} is driven"),
    };
    let need = |(need, code): &(Condition, Option<usize>)| match code {
        Some(code) => format!("{} (else code {})", need.text, machine.codes[*code].id),
        None => need.text.clone(),
    };
    let needs: Vec<String> = guard.needs.iter().map(need).collect();
    let otherwise = match guard.otherwise {
        Otherwise::KeepsOff => "it stays off and the step goes on",
        Otherwise::StopsStep => "all goes off for the rest of the step",
        Otherwise::EndsTest => "the test ends",
    };
    format!("{moment}, the board wants: {}. If not, {otherwise}.", needs.join("; "))
}

fn functions(machine: &Machine, page: &mut Page) {
    if machine.functions.is_empty() {
        return;
    }
    page.heading("Ordinary use");
    for f in &machine.functions {
        let until = f.until.as_ref().map_or(String::new(), |(condition, within_s)| {
            let within = if *within_s > 0.0 {
                format!(" within {}", format(*within_s, Dimension::Time))
            } else {
                String::new()
            };
            format!(" until {}{within}", condition.text)
        });
        page.line(
            "  ",
            &format!(
                "{}: drives {}{until}. When it fails: {}",
                f.name,
                drives(machine, &f.drives),
                f.complaints.join(", ")
            ),
        );
    }
}

fn service_test(machine: &Machine, page: &mut Page) {
    page.heading("Service test");
    page.line("  enter: ", &machine.test.enter);
    if !machine.test.before.is_empty() {
        page.line("  before: ", &machine.test.before.join("; "));
    }
    for (number, step) in machine.test.steps.iter().enumerate() {
        step_lines(machine, number + 1, step, page);
    }
    if !machine.test.leave.is_empty() {
        page.line("  leave: ", &machine.test.leave);
    }
}

fn step_lines(machine: &Machine, number: usize, step: &Step, page: &mut Page) {
    if !step.caution.is_empty() {
        page.line("  ! CAUTION: ", &step.caution);
    }
    let says = if step.says.is_empty() { String::new() } else { format!(": {}", step.says) };
    page.line("  ", &format!("{number} {}{says}", step.id));
    let mut what = vec![format!("drives {}, {}", drives(machine, &step.drives), time(step))];
    for (word, text) in [("see", &step.see), ("hear", &step.hear)] {
        if !text.is_empty() {
            what.push(format!("{word}: {text}"));
        }
    }
    if step.shows_code {
        what.push("shows the stored code".to_owned());
    }
    page.line("    ", &what.join("; "));
    match &step.goes_on {
        GoesOn::ByItself => page.line("    ", "goes on by itself"),
        GoesOn::Press(press) => page.line("    ", press),
    }
    if let Some(then) = &step.then {
        page.line("  ! CAUTION: ", &format!("{} Wait until: {}.", then.caution, then.wait));
    }
}

fn time(step: &Step) -> String {
    match (&step.until, step.at_most_s) {
        (Some(until), Some(most)) => {
            format!("until {}, at most {}", until.text, format(most, Dimension::Time))
        }
        (Some(until), None) => format!("until {}", until.text),
        (None, _) => format(step.lasts_s, Dimension::Time),
    }
}

fn drives(machine: &Machine, drives: &[Drive]) -> String {
    if drives.is_empty() {
        return "nothing".to_owned();
    }
    let one = |d: &Drive| {
        let name = &machine.outputs[d.output].name;
        match (d.rpm, d.both_ways) {
            (0.0, _) => name.clone(),
            (rpm, true) => format!("{name} {:.0} rpm both ways", rpm.abs()),
            (rpm, false) if rpm < 0.0 => format!("{name} {:.0} rpm left", -rpm),
            (rpm, false) => format!("{name} {rpm:.0} rpm right"),
        }
    };
    drives.iter().map(one).collect::<Vec<_>>().join(", ")
}

fn codes(machine: &Machine, page: &mut Page) {
    if machine.codes.is_empty() {
        return;
    }
    page.heading("Fault codes");
    for code in &machine.codes {
        let lamps =
            if code.lamps.is_empty() { String::new() } else { format!(" [{}]", code.lamps.join(", ")) };
        page.line("  ", &format!("{}{lamps}: {}", code.id, code.says));
    }
}

fn checks(machine: &Machine, page: &mut Page) {
    if machine.checks.is_empty() {
        return;
    }
    page.heading("Checks of this model");
    for check in &machine.checks {
        let way = way_to(machine, &check.behind);
        let behind = if way.panels.is_empty() {
            String::new()
        } else {
            format!(", behind {}", names(machine, &way.panels))
        };
        let minutes = check.minutes + way.minutes;
        let mut yes: Vec<String> =
            check.yes_with.iter().map(|(p, mode)| format!("{} {mode}", machine.parts[*p].id)).collect();
        if check.yes_when_healthy {
            yes.insert(0, "healthy".to_owned());
        }
        page.line(
            "  ",
            &format!("{} ({minutes} min{behind}): {} Yes: {}", check.id, check.ask, yes.join(", ")),
        );
        if !check.caution.is_empty() {
            page.line("    ! CAUTION: ", &check.caution);
        }
    }
}
