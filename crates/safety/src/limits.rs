//! Limits: read from the one data file, and worked out for an appliance.

use crate::subject::{Sort, Subject};
use crate::test::Test;
use machine::diagnostic::nearest;
use machine::model::Class;
use serde::Deserialize;
use std::fmt;
use std::sync::LazyLock;

/// The data file, part of the program.
const DATA: &str = include_str!("limits.toml");

/// Slack in comparing lengths and powers that were typed in decimals with the edges of a limit: 12.5 m is not beyond 12.5.
const SLACK: f64 = 1e-9;

/// Which way a limit must be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Keep {
    /// Not above it.
    AtMost,
    /// Not below it.
    AtLeast,
}

/// A standard whose limits may be chosen.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Standard {
    /// Key of the setting: `en`.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Its edition.
    pub edition: String,
    /// For use after a repair; else only to compare with.
    pub after_repair: bool,
    /// Who may test by it, where that was found.
    pub who: String,
}

/// A limit, worked out for one appliance.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// The test.
    pub test: Test,
    /// Which way it must be kept.
    pub keep: Keep,
    /// The limit itself, which still passes; Ω or A.
    pub value: f64,
    /// Its condition in words.
    pub says: &'static str,
    /// Clause of the standard.
    pub clause: &'static str,
    /// Where the figure was seen.
    pub source: &'static str,
    /// The figure could not be looked up: check it before relying on it.
    pub from_memory: bool,
    /// Below it (insulation), a passed protective conductor current decides instead.
    pub current_decides: bool,
}

/// No such standard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandardError {
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

impl fmt::Display for StandardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for StandardError {}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Data {
    format: u32,
    copper: Copper,
    standard: Vec<Standard>,
    limit: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Copper {
    resistivity_ohm_mm2_m: f64,
    #[allow(dead_code, reason = "stands in the data file for its readers")]
    source: String,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Row {
    standard: String,
    test: Test,
    classes: Vec<String>,
    #[serde(default)]
    when: When,
    keep: Keep,
    unit: Unit,
    rule: Rule,
    says: String,
    clause: String,
    source: String,
    #[serde(default)]
    from_memory: bool,
    #[serde(default)]
    current_decides: bool,
}

#[derive(Clone, Copy, Deserialize)]
enum Unit {
    #[serde(rename = "ohm")]
    Ohm,
    #[serde(rename = "Mohm")]
    Megohm,
    #[serde(rename = "mA")]
    Milliampere,
}

impl Unit {
    /// From a value in this unit to one in Ω or A; divided where the factor is no binary fraction, so that 3.5 mA is the
    /// `f64` nearest to it.
    fn base(self, value: f64) -> f64 {
        match self {
            Unit::Ohm => value,
            Unit::Megohm => value * 1e6,
            Unit::Milliampere => value / 1e3,
        }
    }
}

/// Everything that is stated must hold.
#[derive(Default, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct When {
    core_up_to_mm2: Option<f64>,
    core_above_mm2: Option<f64>,
    heating_up_to_kw: Option<f64>,
    heating_above_kw: Option<f64>,
    heating_from_kw: Option<f64>,
    heating_below_kw: Option<f64>,
    sort: Option<Sort>,
    unearthed_metal: Option<bool>,
    sheathed_element: Option<bool>,
    powered_switching: Option<bool>,
}

impl When {
    fn holds(&self, subject: &Subject) -> bool {
        let kw = subject.heating_w / 1000.0;
        let up_to = |limit: Option<f64>, value: f64| limit.is_none_or(|l| value <= l + SLACK);
        let above = |limit: Option<f64>, value: f64| limit.is_none_or(|l| value > l + SLACK);
        let is = |wanted: Option<bool>, value: bool| wanted.is_none_or(|w| w == value);
        up_to(self.core_up_to_mm2, subject.core_mm2)
            && above(self.core_above_mm2, subject.core_mm2)
            && up_to(self.heating_up_to_kw, kw)
            && above(self.heating_above_kw, kw)
            && self.heating_from_kw.is_none_or(|l| kw >= l - SLACK)
            && self.heating_below_kw.is_none_or(|l| kw < l - SLACK)
            && self.sort.is_none_or(|s| s == subject.sort)
            && is(self.unearthed_metal, subject.unearthed_metal)
            && is(self.sheathed_element, subject.sheathed_element)
            && is(self.powered_switching, subject.powered_switching)
    }
}

/// How a limit is worked out, in the row's unit. Lengths in m, power in kW.
#[derive(Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
enum Rule {
    Fixed {
        value: f64,
    },
    #[serde(rename_all = "kebab-case")]
    LeadSteps {
        first: f64,
        to_m: f64,
        step: f64,
        each_m: f64,
        ceiling: f64,
    },
    LeadCopper {
        add: f64,
        #[serde(default)]
        least: f64,
        most: Option<f64>,
    },
    PerKw {
        each: f64,
        least: f64,
        most: f64,
    },
}

impl Rule {
    fn value(&self, subject: &Subject, resistivity: f64) -> f64 {
        match *self {
            Rule::Fixed { value } => value,
            Rule::LeadSteps { first, to_m, step, each_m, ceiling } => {
                let begun = ((subject.lead_m - to_m - SLACK) / each_m).ceil().max(0.0);
                // Tenths added up are not the f64 nearest to 0.4: count steps in the last digit instead.
                (((first + step * begun) * 1e6).round() / 1e6).min(ceiling)
            }
            Rule::LeadCopper { add, least, most } => {
                let lead = resistivity * subject.lead_m / subject.core_mm2;
                (add + lead).max(least).min(most.unwrap_or(f64::INFINITY))
            }
            Rule::PerKw { each, least, most } => (each * subject.heating_w / 1000.0).max(least).min(most),
        }
    }
}

static ALL: LazyLock<Data> = LazyLock::new(|| {
    let data: Data = toml::from_str(DATA).expect("the data file is part of the program, and a test reads it");
    assert!(data.format == 1, "limits.toml has format 1, and a test reads it");
    data
});

/// All standards: those for use after a repair, then those to compare with.
pub fn standards() -> &'static [Standard] {
    &ALL.standard
}

/// The standard with this key.
///
/// # Errors
/// With the keys there are, where there is none.
pub fn standard(key: &str) -> Result<&'static Standard, StandardError> {
    let wanted = key.trim().to_lowercase().replace([' ', '_', '/'], "-");
    standards().iter().find(|s| s.key == wanted).ok_or_else(|| {
        let keys = || standards().iter().map(|s| s.key.as_str());
        StandardError {
            message: format!("no standard is called `{}` here", key.trim()),
            remedy: match nearest(&wanted, keys()) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("write one of {}", keys().collect::<Vec<_>>().join(", ")),
            },
        }
    })
}

/// The limit of a test by a standard; none where the standard, as far as it is known here, asks for none of this appliance.
pub fn limit(standard: &Standard, test: Test, subject: &Subject) -> Option<Limit> {
    rows(standard, test, subject).next().map(|row| Limit {
        test,
        keep: row.keep,
        value: row.unit.base(row.rule.value(subject, ALL.copper.resistivity_ohm_mm2_m)),
        says: &row.says,
        clause: &row.clause,
        source: &row.source,
        from_memory: row.from_memory,
        current_decides: row.current_decides,
    })
}

fn rows(standard: &Standard, test: Test, subject: &Subject) -> impl Iterator<Item = &'static Row> {
    let (key, subject) = (standard.key.clone(), *subject);
    let class = match subject.class {
        Class::I => "I",
        Class::II => "II",
        Class::III => "III",
    };
    ALL.limit.iter().filter(move |row| {
        row.standard == key
            && row.test == test
            && row.classes.iter().any(|c| c == class)
            && row.when.holds(&subject)
    })
}

#[cfg(test)]
mod tests {
    use super::{ALL, Sort, Subject, Test, rows, standards};
    use machine::model::Class;

    #[test]
    fn the_data_file_is_whole() {
        for row in &ALL.limit {
            assert!(standards().iter().any(|s| s.key == row.standard), "{}", row.standard);
            assert!(
                !row.classes.is_empty()
                    && row.classes.iter().all(|c| ["I", "II", "III"].contains(&c.as_str()))
            );
            for words in [&row.says, &row.clause, &row.source] {
                assert!(!words.is_empty());
            }
            assert!(row.from_memory || !row.source.starts_with("from memory"), "{}", row.source);
        }
    }

    /// No appliance falls under two limits of one test.
    #[test]
    fn rows_exclude_each_other() {
        let flags = [false, true];
        for class in [Class::I, Class::II, Class::III] {
            for core in [1.0, 1.5, 2.5] {
                for heating in [0.0, 2900.0, 3000.0, 3500.0, 3501.0, 6000.0, 7400.0, 12000.0] {
                    for sort in [Sort::Portable, Sort::Stationary, Sort::Heating] {
                        for (unearthed, sheathed, powered) in flags.into_iter().flat_map(|a| {
                            flags.into_iter().flat_map(move |b| flags.into_iter().map(move |c| (a, b, c)))
                        }) {
                            let mut subject = Subject::new(class, 2.0, core, heating).unwrap();
                            subject.sort = sort;
                            subject.unearthed_metal = unearthed;
                            subject.sheathed_element = sheathed;
                            subject.powered_switching = powered;
                            for standard in standards() {
                                for test in Test::ALL {
                                    let count = rows(standard, test, &subject).count();
                                    assert!(count <= 1, "{} {test:?} {subject:?}", standard.key);
                                    let must = standard.after_repair
                                        && class == Class::I
                                        && matches!(test, Test::ProtectiveConductor | Test::Insulation);
                                    assert!(!must || count == 1, "{} {test:?} {subject:?}", standard.key);
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
