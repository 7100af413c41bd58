//! `[safety]`: from the visit file through `safety` to what is handed over of it.

use super::{Fitted, day, keys, wrong};
use crate::Proof;
use bench::Conditions;
use jiff::civil::Date;
use machine::diagnostic::Diagnostic;
use machine::model::Machine;
use machine::read::fields::{Fields, Findings, Text};
use safety::facts::{FactError, Facts};
use safety::retest::{StepReading, Touched};
use safety::{Calibration, Reading, Subject, Tester, Typed};

/// The safety test; nothing where the file has no `[safety]`.
pub(super) fn read(
    machine: &Machine,
    file: &Fields<'_>,
    fitted: &[Fitted],
    conditions: &Conditions,
    date: Date,
    findings: &mut Findings,
) -> Option<Proof> {
    let (table, span) = file.table("safety", findings)?;
    let fields = Fields::open(table, keys::SAFETY.name, span, &keys::SAFETY, findings);
    let standard = fields.text("standard", findings);
    let found = safety::standard(standard.as_ref().map_or("en", |t| t.text.trim()));
    let standard = match (found, &standard) {
        (Ok(found), _) if found.after_repair => Some(found),
        (Ok(found), Some(text)) => {
            let message = format!("{} is not for tests after a repair", found.name);
            wrong(findings, text, &message, "write en, iet-4, iet-5 or as-nzs");
            None
        }
        (Err(e), Some(text)) => {
            wrong(findings, text, &e.message, &e.remedy);
            None
        }
        (_, None) => None,
    };
    let subject = subject(machine, &fields, findings);
    let tester = tester(&fields, findings);
    let on = day(&fields, "on", findings).unwrap_or(date);
    let next_due = day(&fields, "next-due", findings);
    let reason = fields.words("reason", findings);
    let touched = touched(machine, fitted, conditions);
    let (readings, steps) = readings(machine, &fields, &touched, findings);
    let (standard, subject) = (standard?, subject?);
    let plan = safety::plan(&subject, standard);
    let report = safety::judge(&plan, &readings, &tester, on, &touched, &steps);
    Some(Proof { on: Some(on), next_due, reason, ..Proof::of(&report, &tester.name) })
}

fn subject(machine: &Machine, fields: &Fields<'_>, findings: &mut Findings) -> Option<Subject> {
    let [class, lead, heating, sort] =
        ["class", "lead", "heating", "sort"].map(|key| fields.text(key, findings));
    let core = fields.number("core", findings).map(|mm2| mm2.to_string());
    let [unearthed_metal, sheathed_element, switches_by_hand, surge_arresters, rewired] =
        ["unearthed-metal", "sheathed-element", "switches-by-hand", "surge-arresters", "rewired"]
            .map(|key| fields.flag(key, findings));
    let said = |text: &'_ Option<Text>| text.as_ref().map(|t| t.text.clone());
    let texts = [&class, &lead, &heating, &sort].map(said);
    let facts = Facts {
        class: texts[0].as_deref(),
        lead: texts[1].as_deref(),
        core: core.as_deref(),
        heating: texts[2].as_deref(),
        sort: texts[3].as_deref(),
        unearthed_metal,
        sheathed_element,
        switches_by_hand,
        surge_arresters,
        rewired,
    };
    let refused = |e: FactError| {
        let place = [("class", &class), ("lead", &lead), ("heating", &heating), ("sort", &sort)];
        match place.into_iter().find(|(fact, _)| *fact == e.fact) {
            Some((_, Some(text))) => wrong(findings, text, &e.message, &e.remedy),
            _ => findings.push(Diagnostic::error("out-of-reach", fields.span(), e.message).mend(e.remedy)),
        }
    };
    facts.subject(machine).map_err(refused).ok()
}

fn tester(fields: &Fields<'_>, findings: &mut Findings) -> Tester {
    let mut tester = Tester { name: fields.words("tester", findings), ..Tester::default() };
    for text in fields.texts("accuracy", findings) {
        match safety::facts::accuracy(&text.text) {
            Ok((test, accuracy)) => drop(tester.accuracy.insert(test, accuracy)),
            Err(e) => wrong(findings, &text, &e.message, &e.remedy),
        }
    }
    let due = day(fields, "calibration-due", findings);
    tester.calibration = day(fields, "calibrated", findings).map(|on| Calibration { on, due });
    tester
}

/// The steps of the machine's own test that the fitted parts touch.
fn touched(machine: &Machine, fitted: &[Fitted], found: &Conditions) -> Vec<Touched> {
    let parts: Vec<_> = fitted.iter().filter_map(|f| f.id).collect();
    if parts.is_empty() {
        return Vec::new();
    }
    let conditions =
        Conditions { supply_u_v: found.supply_u_v, meter: found.meter, ..Conditions::at(found.supply_v) };
    safety::retest::touched(machine, &parts, &conditions)
}

fn readings(
    machine: &Machine,
    fields: &Fields<'_>,
    touched: &[Touched],
    findings: &mut Findings,
) -> (Vec<Reading>, Vec<StepReading>) {
    let (mut tests, mut steps) = (Vec::new(), Vec::new());
    for text in fields.texts("readings", findings) {
        match safety::parse_typed(&text.text) {
            Ok(Typed::Test(reading)) => tests.push(reading),
            Ok(Typed::Step(reading)) => steps.extend(step(machine, touched, &reading, &text, findings)),
            Err(e) => wrong(findings, &text, &e.message, &e.remedy),
        }
    }
    (tests, steps)
}

fn step(
    machine: &Machine,
    touched: &[Touched],
    reading: &StepReading,
    text: &Text,
    findings: &mut Findings,
) -> Option<StepReading> {
    match safety::retest::step(machine, &reading.step) {
        Err(e) => wrong(findings, text, &e.message, &e.remedy),
        Ok(step) if touched.iter().all(|t| t.step != step) => {
            let keys: Vec<&str> = touched.iter().map(|t| t.step.as_str()).collect();
            let remedy = if keys.is_empty() {
                "name what was fitted under [[part]], as the machine file calls it".to_owned()
            } else {
                format!("steps to run again: {}", keys.join(", "))
            };
            wrong(findings, text, "this step is not touched by what was fitted", &remedy);
        }
        Ok(step) => return Some(StepReading { step: step.to_owned(), shown: reading.shown }),
    }
    None
}
