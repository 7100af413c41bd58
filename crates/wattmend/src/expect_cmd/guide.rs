//! The guide to a service test, on paper: what each step is, what could hurt, what it should read.

use super::table::{columns, conditions_words, goes_on, noticed, rows_of};
use super::{Expectation, Row, leaving};
use handover::Sheet;

/// Maker, model, kind.
pub(super) fn title(e: &Expectation<'_>) -> String {
    let plate = &e.machine.plate;
    let variant = e.variant.filter(|v| *v != plate.model).map_or(String::new(), |v| format!(", variant {v}"));
    format!("Service test: {} {}, {}{variant}", plate.maker, plate.model, plate.kind)
}

/// How to get in, each step, how to get out.
pub(super) fn sheets(e: &Expectation<'_>) -> Vec<Sheet> {
    let test = &e.machine.test;
    let mut enter = vec![test.enter.clone()];
    if !test.before.is_empty() {
        enter.push(format!("Before: {}.", test.before.join("; ")));
    }
    enter.push(format!("Expected with: {}. {}", e.hypothesis.says(e.machine), conditions_words(e)));
    let mut all = vec![Sheet { title: "Enter the test".to_owned(), text: enter, ..Sheet::default() }];
    all.extend(e.rows.iter().map(step));
    let mut leave: Vec<String> =
        e.rows.last().and_then(|r| leaving(r.step)).iter().map(|c| caution(c)).collect();
    leave.extend(Some(test.leave.clone()).filter(|l| !l.is_empty()));
    if !leave.is_empty() {
        all.push(Sheet { title: "Leave the test".to_owned(), text: leave, ..Sheet::default() });
    }
    all
}

fn caution(text: &str) -> String {
    format!("CAUTION: {text}")
}

/// The caution stands above the step, as everywhere.
fn step(row: &Row<'_>) -> Sheet {
    let shown = row.faulty.as_ref().unwrap_or(&row.healthy);
    let mut text: Vec<String> = row.cautions.iter().map(|c| caution(c)).collect();
    if !row.step.says.is_empty() {
        text.push(format!("{}.", row.step.says));
    }
    let noticed = noticed(row, shown);
    if !noticed.is_empty() {
        text.push(format!("Notice: {}.", noticed.join("; ")));
    }
    if !row.differs.is_empty() {
        text.push(format!("Differs: {}.", row.differs.join("; ")));
    }
    text.push(format!("Then: {}.", goes_on(row.step, shown)));
    let head = columns().iter().map(|c| c.title.to_owned()).collect();
    let table = std::iter::once(head).chain(rows_of(row)).collect();
    Sheet { title: format!("Step {}: {}", row.number, row.step.id), text, table, ..Sheet::default() }
}
