//! Every value of `tests/reference/check-values.toml`, each with its source beside it, computed by this crate.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod electric;
mod mechanics;
mod sensors;
mod trade;
mod water;

use serde::Deserialize;

#[derive(Deserialize)]
struct Reference {
    given: trade::Given,
    check: Vec<Check>,
}

#[derive(Deserialize)]
struct Check {
    id: String,
    value: f64,
    unit: String,
    tolerance: f64,
    status: String,
    source: String,
    #[serde(default)]
    inputs: toml::Table,
}

impl Check {
    /// The first two words of the id, "heater.r_nominal" of "heater.r_nominal.1000w_230v".
    fn prefix(&self) -> &str {
        self.id.match_indices('.').nth(1).map_or(&self.id, |(end, _)| &self.id[..end])
    }

    /// What follows the prefix, "1000w_230v".
    fn rest(&self) -> &str {
        self.id.get(self.prefix().len() + 1..).unwrap_or("")
    }

    fn input(&self, key: &str) -> f64 {
        match self.inputs.get(key) {
            Some(toml::Value::Float(number)) => *number,
            Some(toml::Value::Integer(number)) => *number as f64,
            _ => panic!("{}: no number `{key}` among the inputs", self.id),
        }
    }
}

/// The crate's answers to one check, in the unit of the check: one from each subject that knows its id.
fn answers(check: &Check, given: &trade::Given) -> Vec<f64> {
    [
        electric::compute(check),
        mechanics::compute(check),
        sensors::compute(check),
        water::compute(check),
        trade::compute(check, given),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn reference() -> Reference {
    toml::from_str(include_str!("../reference/check-values.toml")).unwrap()
}

#[test]
fn every_reference_value_is_reproduced() {
    let reference = reference();
    let mut complaints = Vec::new();
    let mut handled = 0;
    for check in &reference.check {
        let Check { id, value, unit, tolerance, source, .. } = check;
        match answers(check, &reference.given)[..] {
            [] => complaints.push(format!("{id}: nothing computes it")),
            [answer] => {
                handled += 1;
                let within = (answer - value).abs() <= *tolerance;
                if !within {
                    complaints
                        .push(format!("{id}: {answer} {unit}, but {value} ± {tolerance} after {source}"));
                }
            }
            _ => complaints.push(format!("{id}: computed twice")),
        }
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
    assert_eq!(handled, 395, "entries were added or lost");
}

#[test]
fn an_id_that_nobody_knows_has_no_answer() {
    let mut reference = reference();
    for id in ["heater.unheard_of", "water.density_of_ice.0c", "nonsense"] {
        reference.check[0].id = id.to_owned();
        assert!(answers(&reference.check[0], &reference.given).is_empty(), "{id}");
    }
}

#[test]
fn trade_values_say_that_they_have_no_source() {
    for check in reference().check {
        let is_trade = check.id.starts_with("common_practice");
        assert_eq!(is_trade, check.status == "common-practice", "{}", check.id);
    }
}
