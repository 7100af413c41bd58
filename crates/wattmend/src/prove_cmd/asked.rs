//! What is tested, with what, and what was read: from the options and files to the types of `safety`.

use super::Arguments;
use crate::end::{End, Failure};
use crate::limits;
use crate::load;
use bench::Conditions;
use diagnosis::evidence::Listener;
use jiff::civil::Date;
use machine::diagnostic::nearest;
use machine::model::{Class, Machine, PartId};
use quantity::{Dimension, parse};
use safety::import::{Mapping, import};
use safety::retest::{StepReading, Touched};
use safety::{
    Accuracy, Calibration, NotAReading, Reading, Sort, Standard, Subject, Test, Tester, Typed, parse_typed,
};
use std::path::Path;

/// Most lines of a list of readings.
const MOST_LINES: usize = 1000;

/// Kinds of appliance that heat or cook as their purpose.
const HEATS: [&str; 4] = ["oven", "cooker", "hob", "heater"];

pub(super) fn standard(key: &str) -> Result<&'static Standard, Failure> {
    let found = safety::standard(key)
        .map_err(|e| Failure::asked_wrongly(&format!("--standard: {}", e.message), &e.remedy))?;
    if found.after_repair {
        return Ok(found);
    }
    let keys: Vec<&str> =
        safety::standards().iter().filter(|s| s.after_repair).map(|s| s.key.as_str()).collect();
    Err(Failure::asked_wrongly(
        &format!("--standard: {} is not for tests after a repair", found.name),
        &format!("choose one of {}", keys.join(", ")),
    ))
}

/// The appliance.
pub(super) fn subject(machine: &Machine, asked: &Arguments) -> Result<Subject, Failure> {
    let class = match asked.class.as_deref().map(str::trim) {
        None => machine.plate.class,
        Some("I" | "i" | "1") => Class::I,
        Some("II" | "ii" | "2") => Class::II,
        Some("III" | "iii" | "3") => Class::III,
        Some(other) => {
            return Err(Failure::asked_wrongly(
                &format!("--class: `{other}` is no protection class"),
                "write I (earthed), II (square in a square) or III (low voltage)",
            ));
        }
    };
    let lead = parse(&asked.lead, Dimension::Length).map_err(|e| limits::unread("--lead", "1.5 m", &e))?;
    let core = asked.core.trim().trim_end_matches("mm²").trim_end_matches("mm2").trim().replace(',', ".");
    let core: f64 = core.parse().map_err(|_| {
        Failure::asked_wrongly(
            &format!("--core: `{}` is no section", asked.core.trim()),
            "write for instance --core 1.5",
        )
    })?;
    let heating = match &asked.heating {
        Some(text) => parse(text, Dimension::Power).map_err(|e| limits::unread("--heating", "2.2 kW", &e))?,
        None => machine.heating_w(),
    };
    let mut subject = Subject::new(class, lead, core, heating)
        .map_err(|e| Failure::asked_wrongly(&e.message, &e.remedy))?;
    subject.sort = sort(machine, asked)?;
    subject.unearthed_metal = asked.unearthed_metal;
    subject.sheathed_element = asked.sheathed_element;
    subject.powered_switching = !asked.switches_by_hand;
    subject.surge_arresters = asked.surge_arresters;
    subject.rewired = asked.rewired;
    Ok(subject)
}

fn sort(machine: &Machine, asked: &Arguments) -> Result<Sort, Failure> {
    match asked.sort.as_deref().map(str::trim) {
        None if HEATS.iter().any(|kind| machine.plate.kind.to_lowercase().contains(kind)) => {
            Ok(Sort::Heating)
        }
        None | Some("stationary") => Ok(Sort::Stationary),
        Some("portable") => Ok(Sort::Portable),
        Some("heating") => Ok(Sort::Heating),
        Some(other) => Err(Failure::asked_wrongly(
            &format!("--sort: `{other}` is none known here"),
            "write portable, stationary or heating",
        )),
    }
}

/// The tester.
pub(super) fn tester(asked: &Arguments) -> Result<Tester, Failure> {
    let mut tester = Tester { name: asked.tester.clone().unwrap_or_default(), ..Tester::default() };
    for text in &asked.accuracy {
        let (name, stated) = text.split_once('=').ok_or_else(|| {
            Failure::asked_wrongly(
                &format!("--accuracy: `{text}` names no test and limits"),
                "write for instance --accuracy \"earth bond=5% 0R02\"",
            )
        })?;
        let test = Test::named(name).map_err(|remedy| {
            Failure::asked_wrongly(&format!("--accuracy: no test is called `{}`", name.trim()), &remedy)
        })?;
        let Some(dimension) = test.measures() else {
            return Err(Failure::asked_wrongly(
                &format!("--accuracy: the {} measures nothing", test.name()),
                "give it for earth bond, insulation, leakage or touch current",
            ));
        };
        let (example, most) = match dimension {
            Dimension::Current => ("5% 0.02 mA", 1.0),
            _ => ("5% 0R02", 1e9),
        };
        let (relative, absolute) = limits::limits("--accuracy", example, stated, dimension, most)?;
        tester.accuracy.insert(test, Accuracy { relative, absolute });
    }
    if let Some(on) = &asked.calibrated {
        let due = asked.calibration_due.as_deref().map(|d| date("--calibration-due", d)).transpose()?;
        tester.calibration = Some(Calibration { on: date("--calibrated", on)?, due });
    }
    Ok(tester)
}

/// The day of the test.
pub(super) fn day(asked: &Arguments) -> Result<Date, Failure> {
    match &asked.on {
        Some(text) => date("--on", text),
        None => Ok(jiff::ZonedDateTime::now().date()),
    }
}

fn date(option: &str, text: &str) -> Result<Date, Failure> {
    text.trim().parse().map_err(|_| {
        Failure::asked_wrongly(
            &format!("{option}: `{text}` is no date"),
            &format!("write year, month, day: {option} 2026-03-01"),
        )
    })
}

/// The steps that the fitted parts touch.
pub(super) fn touched(machine: &Machine, asked: &Arguments) -> Result<Vec<Touched>, Failure> {
    if asked.fitted.is_empty() {
        return Ok(Vec::new());
    }
    let parts: Vec<PartId> = asked.fitted.iter().map(|name| part(machine, name)).collect::<Result<_, _>>()?;
    let mut conditions = Conditions::unmeasured(machine.plate.supply_v);
    if let Some(text) = &asked.supply {
        let supply = Listener::new(machine)
            .supply(text)
            .map_err(|e| Failure::asked_wrongly(&format!("--supply: {}", e.message), &e.remedy))?;
        conditions = Conditions { supply_u_v: supply.u_v, ..Conditions::at(supply.volts) };
    }
    if let Some(text) = &asked.meter {
        conditions.meter = limits::meter(text)?;
    }
    Ok(safety::retest::touched(machine, &parts, &conditions))
}

fn part(machine: &Machine, name: &str) -> Result<PartId, Failure> {
    machine.part(name.trim()).ok_or_else(|| {
        Failure::asked_wrongly(
            &format!("--fitted: this machine has no part `{}`", name.trim()),
            &match nearest(name.trim(), machine.parts.iter().map(|p| p.id.as_str())) {
                Some(near) => format!("did you mean {near}?"),
                None => "`wattmend machine show FILE` lists the parts".to_owned(),
            },
        )
    })
}

/// All that was read.
#[derive(Default)]
pub(super) struct Readings {
    pub(super) tests: Vec<Reading>,
    pub(super) steps: Vec<StepReading>,
}

/// The file's readings, then those of the options.
pub(super) fn readings(
    machine: &Machine,
    asked: &Arguments,
    touched: &[Touched],
) -> Result<Readings, Failure> {
    let mut all = Readings::default();
    if let Some(path) = &asked.readings {
        let bytes = load::readings(path)?;
        if asked.map.is_empty() {
            listed(machine, path, &bytes, &mut all)?;
        } else {
            all.tests = imported(asked, path, &bytes)?;
        }
    }
    for text in &asked.reading {
        take(machine, text, &mut all)
            .map_err(|e| Failure::asked_wrongly(&format!("--reading: {}", e.message), &e.remedy))?;
    }
    if let Some(idle) = all.steps.iter().find(|s| !touched.iter().any(|t| t.step == s.step)) {
        let remedy = if touched.is_empty() {
            "name the part that was fitted: --fitted PART".to_owned()
        } else {
            let keys: Vec<&str> = touched.iter().map(|t| t.step.as_str()).collect();
            format!("steps to run again: {}", keys.join(", "))
        };
        return Err(Failure::asked_wrongly(
            &format!("step {} is not touched by what was fitted", idle.step),
            &remedy,
        ));
    }
    Ok(all)
}

fn take(machine: &Machine, text: &str, into: &mut Readings) -> Result<(), NotAReading> {
    match parse_typed(text)? {
        Typed::Test(reading) => into.tests.push(reading),
        Typed::Step(reading) => {
            let step = safety::retest::step(machine, &reading.step)
                .map_err(|e| NotAReading { message: e.message, remedy: e.remedy })?;
            into.steps.push(StepReading { step: step.to_owned(), ..reading });
        }
    }
    Ok(())
}

/// A list, one reading a line; `#` begins a remark.
fn listed(machine: &Machine, path: &Path, bytes: &[u8], into: &mut Readings) -> Result<(), Failure> {
    let refused = |line: usize, message: &str, remedy: &str| {
        Failure::new(End::FileRefused, &format!("{}: line {line}: {message}", path.display()), remedy)
    };
    let text = std::str::from_utf8(bytes).map_err(|_| {
        refused(
            1,
            "the file is not UTF-8 text",
            "save it as UTF-8, or give --map if it is a tester's CSV file",
        )
    })?;
    for (at, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.split('#').next().unwrap_or_default().trim();
        if at >= MOST_LINES {
            return Err(refused(
                at + 1,
                "too many lines for the readings of one machine",
                "give 1000 at most",
            ));
        }
        if !line.is_empty() {
            take(machine, line, into).map_err(|e| refused(at + 1, &e.message, &e.remedy))?;
        }
    }
    Ok(())
}

fn imported(asked: &Arguments, path: &Path, bytes: &[u8]) -> Result<Vec<Reading>, Failure> {
    let mut mapping = Mapping::default();
    for entry in &asked.map {
        mapping
            .add(entry)
            .map_err(|e| Failure::asked_wrongly(&format!("--map: {}", e.message), &e.remedy))?;
    }
    import(bytes, &mapping, asked.appliance.as_deref()).map_err(|e| {
        let mut place = format!("{}: ", path.display());
        if let Some(line) = e.line {
            place.push_str(&format!("line {line}: "));
        }
        if let Some((column, heading)) = &e.column {
            place.push_str(&format!("column {column} ({heading}): "));
        }
        Failure::new(End::FileRefused, &format!("{place}{}", e.message), &e.remedy)
    })
}
