//! `wattmend expect FILE`: what each step should read, or what a multimeter shows between two points.

mod asked;
mod between;
mod differs;
mod guide;
pub(crate) mod json;
mod table;

use crate::end::{Answer, Done, Failure};
use crate::load;
use crate::render::Screen;
use crate::sheets;
use bench::{Bench, Conditions, Hypothesis, Prediction};
use machine::diagnostic::nearest;
use machine::model::{Machine, Step};
use std::path::PathBuf;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Variant of the model; the file's first where left out
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Voltage at the socket under load: "239V", "239 V ±1 %"; rated voltage ±10 % where left out
    #[arg(long, value_name = "VOLTS", allow_hyphen_values = true)]
    supply: Option<String>,
    /// A fault to assume: element=open; may be given several times
    #[arg(long, value_name = "PART=MODE")]
    fault: Vec<String>,
    /// Water in the machine at the start: "5l"
    #[arg(long, value_name = "LITRES", allow_hyphen_values = true)]
    water: Option<String>,
    /// Limits of error of the power meter at the plug: "1% 1W"
    #[arg(long, value_name = "LIMITS", allow_hyphen_values = true)]
    meter: Option<String>,
    /// This step only
    #[arg(long, value_name = "ID", conflicts_with = "between")]
    step: Option<String>,
    /// Ohms between two points of the dead machine instead: J2.1 J2.3
    #[arg(long, num_args = 2, value_names = ["POINT", "POINT"])]
    between: Option<Vec<String>>,
    /// A connector or tab that is off while measuring; may be given several times
    #[arg(long, value_name = "NAME", requires = "between")]
    unplug: Vec<String>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    json: bool,
    /// Make a guide to the service test as PDF in this file, to teach with or to take along; an earlier one is replaced
    #[arg(long, value_name = "OUT", conflicts_with_all = ["json", "between"])]
    pdf: Option<PathBuf>,
    /// Paper of the PDF: a4 or letter
    #[arg(long, value_name = "NAME", default_value = "a4", requires = "pdf")]
    paper: String,
}

/// What is to be predicted, as both the table and the JSON show it.
struct Expectation<'m> {
    machine: &'m Machine,
    variant: Option<&'m str>,
    conditions: Conditions,
    supply_measured: bool,
    hypothesis: Hypothesis,
    rows: Vec<Row<'m>>,
}

/// One step.
struct Row<'m> {
    /// Counted from 1, over the whole test.
    number: usize,
    step: &'m Step,
    /// Cautions that lead into it: those of the step before, then its own.
    cautions: Vec<String>,
    healthy: Prediction,
    /// Under the faults asked for, if any.
    faulty: Option<Prediction>,
    /// What is different then, in words.
    differs: Vec<String>,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    if let Some([a, b]) = arguments.between.as_deref() {
        let measured = between::measure(&machine, (a, b), &arguments.unplug, &arguments.fault)?;
        let text = if arguments.json { measured.json() } else { measured.text(screen) };
        return Ok(Done::with(text));
    }
    let expectation = predict(&machine, arguments)?;
    if let Some(out) = &arguments.pdf {
        let paper = sheets::paper(&arguments.paper)?;
        return sheets::write(out, &guide::title(&expectation), &guide::sheets(&expectation), paper);
    }
    let text = if arguments.json { json::render(&expectation) } else { table::render(&expectation, screen) };
    Ok(Done::with(text))
}

fn predict<'m>(machine: &'m Machine, arguments: &'m Arguments) -> Result<Expectation<'m>, Failure> {
    let hypothesis = Hypothesis::parse(machine, &arguments.fault)?;
    let conditions = asked::conditions(machine, arguments)?;
    known_step(machine, arguments.step.as_deref())?;
    let mut bench = Bench::new(machine);
    let healthy = bench.predict(&Hypothesis::healthy(), &conditions);
    let faulty = (!hypothesis.faults().is_empty()).then(|| bench.predict(&hypothesis, &conditions));
    let rows = machine.test.steps.iter().zip(healthy).enumerate().map(|(at, (step, healthy))| {
        let faulty = faulty.as_ref().and_then(|f| f.get(at)).cloned();
        let differs = faulty.as_ref().map_or(Vec::new(), |f| differs::words(machine, &healthy, f));
        Row { number: at + 1, step, cautions: cautions(machine, at), healthy, faulty, differs }
    });
    let wanted = |row: &Row<'_>| arguments.step.as_ref().is_none_or(|id| row.step.id == *id);
    Ok(Expectation {
        machine,
        variant: arguments.variant.as_deref().or_else(|| machine.plate.variants.first().map(String::as_str)),
        conditions,
        supply_measured: arguments.supply.is_some(),
        hypothesis,
        rows: rows.filter(wanted).collect(),
    })
}

fn known_step(machine: &Machine, id: Option<&str>) -> Result<(), Failure> {
    let Some(id) = id.filter(|id| machine.step(id).is_none()) else { return Ok(()) };
    let ids = || machine.test.steps.iter().map(|s| s.id.as_str());
    let remedy = match nearest(id, ids()) {
        Some(near) => format!("did you mean {near}?"),
        None => format!("its steps: {}", ids().collect::<Vec<_>>().join(", ")),
    };
    Err(Failure::asked_wrongly(&format!("the service test has no step `{id}`"), &remedy))
}

/// What could hurt on the way into a step and in it.
fn cautions(machine: &Machine, at: usize) -> Vec<String> {
    let steps = &machine.test.steps;
    let mut all = Vec::new();
    all.extend(at.checked_sub(1).and_then(|before| leaving(&steps[before])));
    if !steps[at].caution.is_empty() {
        all.push(steps[at].caution.clone());
    }
    all
}

/// What could hurt on the way out of a step.
fn leaving(step: &Step) -> Option<String> {
    let then = step.then.as_ref()?;
    let run_down = if then.run_down_s > 0.0 {
        format!(" (about {})", quantity::format(then.run_down_s, quantity::Dimension::Time))
    } else {
        String::new()
    };
    Some(format!("{} Wait until: {}{run_down}.", then.caution, then.wait))
}
