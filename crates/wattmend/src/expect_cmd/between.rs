//! `wattmend expect FILE --between A B`: what a multimeter shows, healthy and under every single fault.

use super::json::faults;
use crate::end::Failure;
use crate::render::Screen;
use crate::render::wrap::wrap;
use bench::{Hypothesis, Ohms, ReadingGroup, between, ohms_between};
use machine::model::Machine;
use quantity::format_code;
use serde_json::{Value, json};

/// What must be so before anyone touches a contact.
const CAUTION: &str = "Dead machine only: plug pulled and in sight, capacitors discharged (give a mains filter or \
    an inverter five minutes), then proven dead between line, neutral and earth with a meter that you proved on a \
    live point before and after.";

/// A measurement and what it can show.
pub(super) struct Measured<'m> {
    machine: &'m Machine,
    ends: (&'m str, &'m str),
    unplugged: &'m [String],
    groups: Vec<ReadingGroup>,
    /// With the faults of the command line, where there are any.
    asked: Option<(Hypothesis, Ohms)>,
}

/// Works it out.
pub(super) fn measure<'m>(
    machine: &'m Machine,
    ends: (&'m str, &'m str),
    unplugged: &'m [String],
    fault: &[String],
) -> Result<Measured<'m>, Failure> {
    let hypothesis = Hypothesis::parse(machine, fault)?;
    let groups = between(machine, ends, unplugged)?;
    let asked = if fault.is_empty() {
        None
    } else {
        let reads = ohms_between(machine, &hypothesis, ends, unplugged)?;
        Some((hypothesis, reads))
    };
    Ok(Measured { machine, ends, unplugged, groups, asked })
}

impl Measured<'_> {
    /// For a person.
    pub(super) fn text(&self, screen: &Screen) -> String {
        let mut out = wrap("! CAUTION: ", "  ", CAUTION, screen.columns);
        let off = if self.unplugged.is_empty() {
            "nothing unplugged".to_owned()
        } else {
            format!("{} off", self.unplugged.join(", "))
        };
        let (a, b) = self.ends;
        out.push('\n');
        out.push_str(&wrap("", "", &format!("Ohms between {a} and {b}, {off}:"), screen.columns));
        out.push('\n');
        if let Some((hypothesis, reads)) = &self.asked {
            out.push_str(&row(*reads, &format!("with {}", hypothesis.says(self.machine)), screen));
        }
        let healthy = self.groups.first().map_or(Ohms::Open, |g| g.reads);
        for (at, group) in self.groups.iter().enumerate() {
            let words = if at == 0 { healthy_words(group) } else { self.faulty(group, healthy) };
            out.push_str(&row(group.reads, &words, screen));
        }
        if self.groups.len() <= 1 {
            out.push_str("\nNo single fault changes this reading: measure elsewhere.\n");
        }
        out
    }

    fn faulty(&self, group: &ReadingGroup, healthy: Ohms) -> String {
        let names: Vec<String> = group.hypotheses.iter().map(|h| h.says(self.machine)).collect();
        let near = if told_apart(group.reads, healthy) { "" } else { " (too near to healthy to tell)" };
        format!("{}{near}", names.join("; "))
    }

    /// For a program.
    pub(super) fn json(&self) -> String {
        let groups: Vec<Value> = self
            .groups
            .iter()
            .map(|g| {
                let hypotheses: Vec<Vec<Value>> =
                    g.hypotheses.iter().map(|h| faults(self.machine, h)).collect();
                json!({ "reads": ohms(g.reads), "hypotheses": hypotheses })
            })
            .collect();
        let asked = self
            .asked
            .as_ref()
            .map(|(h, reads)| json!({ "faults": faults(self.machine, h), "reads": ohms(*reads) }));
        let answer = json!({
            "format": 1,
            "between": [self.ends.0, self.ends.1],
            "unplugged": self.unplugged,
            "caution": CAUTION,
            "with_faults": asked,
            "groups": groups,
        });
        format!("{answer:#}\n")
    }
}

/// Faults that a reading does not show are counted, not listed: there are many, and none is meant.
fn healthy_words(group: &ReadingGroup) -> String {
    match group.hypotheses.len().saturating_sub(1) {
        0 => "healthy".to_owned(),
        1 => "healthy, and 1 fault that this does not show".to_owned(),
        n => format!("healthy, and {n} faults that this does not show"),
    }
}

fn row(reads: Ohms, words: &str, screen: &Screen) -> String {
    const INDENT: &str = "                           ";
    let reads = match reads {
        Ohms::Open => "OL".to_owned(),
        Ohms::Ohms { value, u } => {
            let (low, high) = ((value - 2.0 * u).max(0.0), value + 2.0 * u);
            format!("{} ({} … {})", shown(value), shown(low), shown(high))
        }
    };
    wrap(&format!("{reads:<25}  "), INDENT, words, screen.columns)
}

/// To a tenth of an ohm, as far as a common multimeter goes.
fn shown(ohm: f64) -> String {
    if ohm < 10.0 { format_code((ohm * 10.0).round() / 10.0) } else { format_code(ohm) }
}

fn told_apart(a: Ohms, b: Ohms) -> bool {
    match (a, b) {
        (Ohms::Ohms { value: x, u: ux }, Ohms::Ohms { value: y, u: uy }) => {
            (x - y).abs() > 2.0 * ux.hypot(uy)
        }
        _ => true,
    }
}

fn ohms(reads: Ohms) -> Value {
    match reads {
        Ohms::Open => json!({ "over_range": true, "shown": "OL" }),
        Ohms::Ohms { value, u } => json!({
            "over_range": false,
            "shown": shown(value),
            "resistance_ohm": { "value": value, "u": u, "low": (value - 2.0 * u).max(0.0), "high": value + 2.0 * u },
        }),
    }
}
