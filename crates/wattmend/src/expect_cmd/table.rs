//! The table that a technician reads at the machine.

use super::{Expectation, Row, differs, leaving};
use crate::render::Screen;
use crate::render::table::{Column, Table};
use crate::render::wrap::wrap;
use bench::{Estimate, Prediction};
use machine::model::{GoesOn, Machine, Step};
use quantity::{Dimension, format, format_pm};

/// The whole answer.
pub(super) fn render(expectation: &Expectation<'_>, screen: &Screen) -> String {
    let cells: Vec<Vec<String>> = expectation.rows.iter().flat_map(rows_of).collect();
    let table = Table::fit(columns(), &cells, screen.columns);
    let mut out = head(expectation, screen);
    out.push('\n');
    out.push_str(&table.head());
    for row in &expectation.rows {
        out.push('\n');
        for caution in &row.cautions {
            out.push_str(&wrap("! CAUTION: ", "  ", caution, screen.columns));
        }
        for cells in rows_of(row) {
            out.push_str(&table.row(&cells));
        }
        out.push_str(&words(expectation.machine, row, screen));
    }
    // The danger on the way out of the last step shown leads into none that is.
    if let Some(caution) = expectation.rows.last().and_then(|r| leaving(r.step)) {
        out.push('\n');
        out.push_str(&wrap("! CAUTION: ", "  ", &caution, screen.columns));
    }
    if !expectation.machine.test.leave.is_empty() {
        out.push('\n');
        out.push_str(&wrap("Leave the test: ", "  ", &expectation.machine.test.leave, screen.columns));
    }
    out
}

pub(super) fn columns() -> Vec<Column> {
    vec![
        Column { title: "Step", leave_out: 0 },
        Column { title: "Power", leave_out: 0 },
        Column { title: "95 % in W", leave_out: 7 },
        Column { title: "Current", leave_out: 5 },
        Column { title: "PF", leave_out: 2 },
        Column { title: "Drum rpm", leave_out: 6 },
        Column { title: "Time", leave_out: 4 },
        Column { title: "Water", leave_out: 3 },
        Column { title: "Rise", leave_out: 1 },
    ]
}

fn head(e: &Expectation<'_>, screen: &Screen) -> String {
    let plate = &e.machine.plate;
    let variant = e.variant.filter(|v| *v != plate.model).map_or(String::new(), |v| format!(", variant {v}"));
    let assumed = e.hypothesis.says(e.machine);
    let name = format!("{} {}, {}{variant}: {assumed}", plate.maker, plate.model, plate.kind);
    let mut out = wrap("", "  ", &name, screen.columns);
    out.push_str(&wrap("", "", &conditions_words(e), screen.columns));
    let test = &e.machine.test;
    out.push_str(&wrap("Enter the test: ", "  ", &test.enter, screen.columns));
    if !test.before.is_empty() {
        out.push_str(&wrap("Before: ", "  ", &format!("{}.", test.before.join("; ")), screen.columns));
    }
    out
}

/// Supply, meter and water.
pub(super) fn conditions_words(e: &Expectation<'_>) -> String {
    let volts = e.conditions.supply_v;
    let supply = if e.supply_measured {
        format!("Supply {}.", format_pm(volts, 2.0 * e.conditions.supply_u_v, Dimension::Voltage))
    } else {
        format!(
            "Supply not given: rated {volts:.0} V ±10 %. Measure it and give --supply for narrower ranges."
        )
    };
    let meter = e.conditions.meter;
    let meter = format!(
        "Meter ±{} ±{}.",
        format(meter.relative, Dimension::Ratio),
        format(meter.absolute_w, Dimension::Power)
    );
    let water = format!("{} of water in it at the start.", format(e.conditions.water_l, Dimension::Volume));
    format!("{supply} {meter} {water}")
}

/// The row, and the healthy one below it where assumed faults make a difference.
pub(super) fn rows_of(row: &Row<'_>) -> Vec<Vec<String>> {
    let name = format!("{} {}", row.number, row.step.id);
    match &row.faulty {
        None => vec![cells(name, row.step, &row.healthy)],
        Some(faulty) if row.differs.is_empty() => vec![cells(name, row.step, faulty)],
        Some(faulty) => {
            vec![cells(name, row.step, faulty), cells("  healthy".to_owned(), row.step, &row.healthy)]
        }
    }
}

fn cells(name: String, step: &Step, p: &Prediction) -> Vec<String> {
    let (low, high) = p.power_w.interval();
    let mut time = format(p.lasts_s.round(), Dimension::Time);
    if p.timed_out {
        time.push_str(", times out");
    }
    vec![
        name,
        spread(p.power_w, Dimension::Power),
        format!("{:.0} … {:.0}", low.max(0.0), high.max(0.0)),
        spread(p.current_a, Dimension::Current),
        p.power_factor.map_or("–".to_owned(), |pf| format!("{pf:.2}")),
        differs::speed_words(step, p),
        time,
        format!("{:.1} l", p.water_l),
        if p.rise_k.value.abs() < 0.1 { "–".to_owned() } else { format!("{:.1} K", p.rise_k.value) },
    ]
}

/// A value with the half-width of its 95 % interval.
fn spread(e: Estimate, d: Dimension) -> String {
    if e.value == 0.0 { format!("0 {}", d.base_unit()) } else { format_pm(e.value, 2.0 * e.u, d) }
}

/// What stands below the figures: what it is, what is seen and heard, what differs, what to press.
fn words(machine: &Machine, row: &Row<'_>, screen: &Screen) -> String {
    let shown = row.faulty.as_ref().unwrap_or(&row.healthy);
    let mut out = String::new();
    let mut line = |first: &str, text: &str| out.push_str(&wrap(first, "      ", text, screen.columns));
    if !row.step.says.is_empty() {
        line("    ", &format!("{}.", row.step.says));
    }
    if let Some(trip) = &shown.trip {
        line("    ", &format!("{}.", differs::trip_words(machine, trip)));
    }
    let noticed = noticed(row, shown);
    if !noticed.is_empty() {
        line("    notice: ", &noticed.join("; "));
    }
    if let Some(code) = shown.code.filter(|_| shown.code_shown) {
        let code = &machine.codes[code];
        let lamps =
            if code.lamps.is_empty() { String::new() } else { format!(" ({})", code.lamps.join(", ")) };
        line("    code: ", &format!("{}{lamps}: {}", code.id, code.says));
    }
    if row.faulty.is_some() && row.differs.is_empty() {
        line("    ", "as healthy: this step does not show it");
    } else if row.faulty.is_some() {
        line("    DIFFERS: ", &row.differs.join("; "));
    }
    line("    then ", &goes_on(row.step, shown));
    out
}

/// What the file tells a person to see and hear holds for a healthy machine only.
pub(super) fn noticed(row: &Row<'_>, shown: &Prediction) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    if row.faulty.is_none() {
        all.extend([&row.step.see, &row.step.hear].into_iter().filter(|w| !w.is_empty()).cloned());
    }
    all.extend(shown.signs.iter().map(|s| (*s).to_owned()));
    all
}

pub(super) fn goes_on(step: &Step, p: &Prediction) -> String {
    match &step.goes_on {
        _ if p.ended => "the test has ended".to_owned(),
        GoesOn::ByItself => "it goes on by itself".to_owned(),
        GoesOn::Press(what) => what.clone(),
    }
}
