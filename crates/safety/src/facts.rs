//! What is known of the appliance and of the tester, as people type it: from texts to [`Subject`] and [`crate::Tester`].

use crate::subject::{Sort, Subject};
use crate::test::Test;
use crate::tester::{Accuracy, Calibration};
use jiff::civil::Date;
use machine::model::{Class, Machine};
use quantity::{Dimension, NotationError, parse};
use std::fmt;

/// Kinds of appliance that heat or cook as their purpose.
const HEATS: [&str; 4] = ["oven", "cooker", "hob", "heater"];

/// Length of a lead that nobody measured, m.
const LEAD_M: f64 = 1.5;
/// Section of its protective core, mm².
const CORE_MM2: f64 = 1.5;

/// What is known of an appliance. What is left out comes from its machine file, or is what is usual: a lead of 1.5 m and
/// 1.5 mm², the plate's class, the heaters of the file.
#[allow(
    clippy::struct_excessive_bools,
    reason = "facts that are independent of one another, each a question to a person"
)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Facts<'t> {
    /// `I`, `II` or `III`.
    pub class: Option<&'t str>,
    /// `1.5 m`.
    pub lead: Option<&'t str>,
    /// `1.5`, mm².
    pub core: Option<&'t str>,
    /// `2.2 kW`.
    pub heating: Option<&'t str>,
    /// `portable`, `stationary` or `heating`; by its kind where left out.
    pub sort: Option<&'t str>,
    /// There is metal that can be touched and is not earthed.
    pub unearthed_metal: bool,
    /// A metal-sheathed element is in the tested path.
    pub sheathed_element: bool,
    /// No relay needs power to close.
    pub switches_by_hand: bool,
    /// Surge arresters, or parts that do not bear 500 V, are fitted.
    pub surge_arresters: bool,
    /// Plug, terminals or cord were worked on.
    pub rewired: bool,
}

/// Why a fact cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FactError {
    /// Which: `class`, `lead`, `core`, `heating`, `sort`, `accuracy`, `calibrated`, `calibration-due`; empty: all together.
    pub fact: &'static str,
    /// What is wrong.
    pub message: String,
    /// What to give instead.
    pub remedy: String,
}

impl fmt::Display for FactError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for FactError {}

fn refused(fact: &'static str, message: String, remedy: impl Into<String>) -> FactError {
    FactError { fact, message, remedy: remedy.into() }
}

fn unread(fact: &'static str, example: &'static str) -> impl Fn(NotationError) -> FactError {
    move |e| refused(fact, e.to_string(), format!("write for instance \"{example}\""))
}

impl Facts<'_> {
    /// The appliance.
    ///
    /// # Errors
    /// With what to give instead, where a text cannot be read or no appliance is so.
    pub fn subject(&self, machine: &Machine) -> Result<Subject, FactError> {
        let class = match self.class.map(str::trim) {
            None => machine.plate.class,
            Some("I" | "i" | "1") => Class::I,
            Some("II" | "ii" | "2") => Class::II,
            Some("III" | "iii" | "3") => Class::III,
            Some(other) => {
                return Err(refused(
                    "class",
                    format!("`{other}` is no protection class"),
                    "write I (earthed), II (square in a square) or III (low voltage)",
                ));
            }
        };
        let lead = self.lead.map_or(Ok(LEAD_M), |t| parse(t, Dimension::Length));
        let lead = lead.map_err(unread("lead", "1.5 m"))?;
        let heating = match self.heating {
            Some(text) => parse(text, Dimension::Power).map_err(unread("heating", "2.2 kW"))?,
            None => machine.heating_w(),
        };
        let mut subject = Subject::new(class, lead, self.core_mm2()?, heating)
            .map_err(|e| refused("", e.message, e.remedy))?;
        subject.sort = self.sort(machine)?;
        subject.unearthed_metal = self.unearthed_metal;
        subject.sheathed_element = self.sheathed_element;
        subject.powered_switching = !self.switches_by_hand;
        subject.surge_arresters = self.surge_arresters;
        subject.rewired = self.rewired;
        Ok(subject)
    }

    fn core_mm2(&self) -> Result<f64, FactError> {
        let Some(text) = self.core.map(str::trim) else { return Ok(CORE_MM2) };
        let number = text.trim_end_matches("mm²").trim_end_matches("mm2").trim().replace(',', ".");
        number
            .parse()
            .map_err(|_| refused("core", format!("`{text}` is no section"), "write for instance 1.5, in mm²"))
    }

    fn sort(&self, machine: &Machine) -> Result<Sort, FactError> {
        match self.sort.map(str::trim) {
            None if HEATS.iter().any(|kind| machine.plate.kind.to_lowercase().contains(kind)) => {
                Ok(Sort::Heating)
            }
            None | Some("stationary") => Ok(Sort::Stationary),
            Some("portable") => Ok(Sort::Portable),
            Some("heating") => Ok(Sort::Heating),
            Some(other) => Err(refused(
                "sort",
                format!("`{other}` is none known here"),
                "write portable, stationary or heating",
            )),
        }
    }
}

/// Limits of error of a tester for one test: `earth bond=5% 0R02`, a share of the reading and a value beside it; either may
/// be left out.
///
/// # Errors
/// With what to write instead.
pub fn accuracy(text: &str) -> Result<(Test, Accuracy), FactError> {
    const FACT: &str = "accuracy";
    let (name, stated) = text.split_once('=').ok_or_else(|| {
        refused(
            FACT,
            format!("`{text}` names no test and limits"),
            "write for instance \"earth bond=5% 0R02\"",
        )
    })?;
    let test = Test::named(name)
        .map_err(|remedy| refused(FACT, format!("no test is called `{}`", name.trim()), remedy))?;
    let Some(dimension) = test.measures() else {
        return Err(refused(
            FACT,
            format!("the {} measures nothing", test.name()),
            "give it for earth bond, insulation, leakage or touch current",
        ));
    };
    let (example, most) = match dimension {
        Dimension::Current => ("leakage=5% 0.02 mA", 1.0),
        _ => ("earth bond=5% 0R02", 1e9),
    };
    let within = |value: f64, most: f64, unit: &str| {
        if (0.0..=most).contains(&value) {
            return Ok(value);
        }
        Err(refused(FACT, format!("{value} {unit} is out of reach"), format!("give 0 to {most} {unit}")))
    };
    let (share, rest) = match stated.split_once('%') {
        Some((share, rest)) => (Some(format!("{}%", share.trim())), rest),
        None => (None, stated),
    };
    let rest = rest.trim().trim_start_matches(['+', '±', ',']).trim();
    let (mut relative, mut absolute) = (0.0, 0.0);
    if let Some(share) = share {
        let share = parse(&share, Dimension::Ratio).map_err(unread(FACT, example))?;
        relative = within(share, 0.5, "of the reading")?;
    }
    if !rest.is_empty() {
        let value = parse(rest, dimension).map_err(unread(FACT, example))?;
        absolute = within(value, most, dimension.base_unit())?;
    }
    Ok((test, Accuracy { relative, absolute }))
}

/// When a tester was calibrated, and when that is due again, as dates: `2026-03-01`.
///
/// # Errors
/// Where one is no date.
pub fn calibration(on: &str, due: Option<&str>) -> Result<Calibration, FactError> {
    let due = due.map(|text| date("calibration-due", text)).transpose()?;
    Ok(Calibration { on: date("calibrated", on)?, due })
}

fn date(fact: &'static str, text: &str) -> Result<Date, FactError> {
    text.trim()
        .parse()
        .map_err(|_| refused(fact, format!("`{text}` is no date"), "write year, month, day: 2026-03-01"))
}

#[cfg(test)]
mod tests {
    use super::{Facts, accuracy, calibration};
    use crate::subject::Sort;
    use crate::test::Test;
    use machine::model::{Class, Machine};

    fn tern() -> Machine {
        machine::read::read(include_str!("../../../machines/aldermere-tern-81.toml"), None).machine.unwrap()
    }

    #[test]
    fn what_nobody_said_comes_from_the_machine_file() {
        let subject = Facts::default().subject(&tern()).unwrap();
        assert_eq!((subject.class(), subject.lead_m(), subject.core_mm2()), (Class::I, 1.5, 1.5));
        assert_eq!(subject.sort, Sort::Stationary);
        assert!(subject.powered_switching && subject.heating_w() > 0.0);
        let typed = Facts {
            class: Some("ii"),
            lead: Some("3 m"),
            core: Some("2,5 mm²"),
            heating: Some("2 kW"),
            sort: Some("portable"),
            rewired: true,
            ..Facts::default()
        };
        let subject = typed.subject(&tern()).unwrap();
        assert_eq!((subject.class(), subject.lead_m(), subject.core_mm2()), (Class::II, 3.0, 2.5));
        assert!(subject.rewired && subject.sort == Sort::Portable);
    }

    #[test]
    fn a_fact_that_cannot_be_is_refused_by_its_name() {
        let with = |fact, text| {
            let mut facts = Facts::default();
            match fact {
                "class" => facts.class = Some(text),
                "lead" => facts.lead = Some(text),
                "core" => facts.core = Some(text),
                "heating" => facts.heating = Some(text),
                _ => facts.sort = Some(text),
            }
            facts.subject(&tern()).unwrap_err()
        };
        for (fact, text) in
            [("class", "IV"), ("lead", "long"), ("core", "thick"), ("heating", "2 m"), ("sort", "flying")]
        {
            let error = with(fact, text);
            assert!(error.fact == fact && !error.remedy.is_empty(), "{error}");
        }
        assert_eq!(with("lead", "500 m").fact, "");
    }

    #[test]
    fn the_tester_is_read_as_its_sheet_says() {
        let (test, a) = accuracy("earth bond = 5% 0R02").unwrap();
        assert!(test == Test::ProtectiveConductor && (a.relative - 0.05).abs() < 1e-12);
        assert!((a.absolute - 0.02).abs() < 1e-12);
        for text in ["", "earth bond", "smell=5%", "visual=5%", "earth bond=90%", "leakage=5% 3 A", "iso=x"] {
            assert!(accuracy(text).is_err(), "{text}");
        }
        assert!(calibration("2026-03-01", Some("2027-03-01")).is_ok());
        assert_eq!(calibration("soon", None).unwrap_err().fact, "calibrated");
        assert_eq!(calibration("2026-03-01", Some("later")).unwrap_err().fact, "calibration-due");
    }
}
