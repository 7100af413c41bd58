//! Parts with their values, the way to them, and what fails.

use super::{Page, names, way_to};
use machine::kind::Takes;
use machine::model::{Machine, Part};
use machine::params::Value;
use quantity::{Dimension, Toleranced, format};

pub(super) fn print(machine: &Machine, page: &mut Page) {
    page.heading("Parts");
    let outputs: Vec<usize> = machine.outputs.iter().map(|o| o.part).collect();
    for (id, part) in machine.parts.iter().enumerate() {
        if part.ends.is_none() && !outputs.contains(&id) {
            one(machine, part, page);
        }
    }
}

fn one(machine: &Machine, part: &Part, page: &mut Page) {
    let order = if part.order.is_empty() { String::new() } else { format!(", order {}", part.order) };
    page.line("  ", &format!("{}: {}{order}", part.id, part.kind.name));
    // What it watches is told in a line of its own.
    let params = part.kind.params.iter().filter(|p| p.name != "watches");
    let values: Vec<String> = params.filter_map(|p| stated(part, p.name, p.takes)).collect();
    if !values.is_empty() {
        page.line("    ", &values.join(", "));
    }
    if !part.behind.is_empty() {
        let way = way_to(machine, &part.behind);
        page.line("    ", &format!("behind {}: {} min", names(machine, &way.panels), way.minutes));
    }
    if !part.through.is_empty() {
        let through: Vec<&str> = part.through.iter().map(|&p| machine.parts[p].id.as_str()).collect();
        page.line("    ", &format!("works through {}", through.join(", ")));
    }
    if let Some(watched) = part.watches {
        page.line("    ", &format!("watches {}", machine.parts[watched].id));
    }
    if !part.note.is_empty() {
        page.line("    ", &part.note);
    }
    let faults: Vec<String> = faults(part);
    if !faults.is_empty() {
        page.line("    ", &format!("faults: {}", faults.join(", ")));
    }
}

/// Fault modes with their share of jobs, the most frequent first.
pub(super) fn faults(part: &Part) -> Vec<String> {
    let mut all: Vec<(f64, &str)> = part
        .rates
        .iter()
        .copied()
        .zip(part.kind.modes.iter().map(|m| m.name))
        .filter(|(r, _)| *r > 0.0)
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.iter().map(|(rate, name)| format!("{name} {}", percent(*rate))).collect()
}

fn percent(rate: f64) -> String {
    match rate {
        r if r >= 0.95 => format!("{r:.1} %"),
        r if r >= 0.01 => format!("{r:.2} %"),
        _ => "< 0.01 %".to_owned(),
    }
}

fn stated(part: &Part, name: &str, takes: Takes) -> Option<String> {
    let text = match (part.params.get(name)?, takes) {
        (Value::Quantity(q), Takes::Quantity(d)) => toleranced(q, d),
        (Value::RatedAt(q, at), Takes::RatedAt(d, of)) => {
            format!("{} at {}", toleranced(q, d), format(*at, of))
        }
        (Value::Range(low, high), Takes::Range(d)) => format!("{} … {}", format(*low, d), format(*high, d)),
        (Value::Table(rows), Takes::Table(x, y)) => {
            let pairs: Vec<String> =
                rows.iter().map(|(a, b)| format!("{} at {}", format(*b, y), format(*a, x))).collect();
            pairs.join("; ")
        }
        (Value::Text(text), _) if !text.is_empty() => text.clone(),
        (Value::Flag(true), _) => "yes".to_owned(),
        _ => return None,
    };
    Some(format!("{name} {text}"))
}

fn toleranced(q: &Toleranced, d: Dimension) -> String {
    let value = format(q.nominal, d);
    if q.plus == 0.0 && q.minus == 0.0 || q.nominal == 0.0 {
        return value;
    }
    let share = |x: f64| format(x / q.nominal.abs(), Dimension::Ratio);
    if (q.plus - q.minus).abs() <= 1e-9 * q.plus.abs() {
        format!("{value} ±{}", share(q.plus))
    } else {
        format!("{value} −{}/+{}", share(q.minus), share(q.plus))
    }
}
