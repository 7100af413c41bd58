//! What is tested: as much of a machine as decides which tests apply and with which limits.

use machine::model::Class;
use serde::Deserialize;
use std::fmt;

/// How an appliance is used, as far as limits differ by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sort {
    /// Held in the hand or carried about.
    Portable,
    /// Stays where it stands: washers, dryers, dishwashers, fridges.
    Stationary,
    /// Heats or cooks as its purpose: ovens, hobs.
    Heating,
}

/// What decides which tests apply and with which limits. Made by [`Subject::new`], so that all values are believable.
#[allow(
    clippy::struct_excessive_bools,
    reason = "facts that are independent of one another, each a question to a person"
)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Subject {
    pub(crate) class: Class,
    pub(crate) lead_m: f64,
    pub(crate) core_mm2: f64,
    pub(crate) heating_w: f64,
    /// How it is used.
    pub sort: Sort,
    /// There is metal that can be touched and is not joined to the protective conductor.
    pub unearthed_metal: bool,
    /// A metal-sheathed, mineral-insulated element is in the tested path.
    pub sheathed_element: bool,
    /// A relay inside closes only under power, so that an insulation test at the plug does not reach all.
    pub powered_switching: bool,
    /// Surge arresters or parts that do not bear 500 V are fitted: 250 V is used.
    pub surge_arresters: bool,
    /// Plug, terminals or cord were worked on.
    pub rewired: bool,
}

/// A value that no appliance has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SubjectError {
    /// What is wrong.
    pub message: String,
    /// What to give instead.
    pub remedy: String,
}

impl fmt::Display for SubjectError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for SubjectError {}

/// Longest lead that is believed, m.
const LONGEST_LEAD_M: f64 = 100.0;
/// Sections of cores that are believed, mm².
const CORES_MM2: std::ops::RangeInclusive<f64> = 0.5..=10.0;
/// Most heating that is believed, W.
const MOST_HEATING_W: f64 = 30_000.0;

impl Subject {
    /// An appliance that stays where it stands, whose relays close under power, and of whose wiring nothing was changed.
    ///
    /// `lead_m`: length of the mains lead with all extensions, 0 to 100 m. `core_mm2`: section of its protective core,
    /// 0.5 to 10 mm². `heating_w`: rated power of all heaters that can be on together, 0 to 30 kW.
    ///
    /// # Errors
    /// Outside these ranges, and for NaN.
    pub fn new(class: Class, lead_m: f64, core_mm2: f64, heating_w: f64) -> Result<Subject, SubjectError> {
        let within = |ok: bool, message: String, remedy: &str| {
            if ok { Ok(()) } else { Err(SubjectError { message, remedy: remedy.to_owned() }) }
        };
        within(
            (0.0..=LONGEST_LEAD_M).contains(&lead_m),
            format!("no appliance has a lead of {lead_m} m"),
            "give 0 to 100 m",
        )?;
        within(
            CORES_MM2.contains(&core_mm2),
            format!("no mains lead has cores of {core_mm2} mm²"),
            "give 0.5 to 10 mm²; 1.5 is common",
        )?;
        within(
            (0.0..=MOST_HEATING_W).contains(&heating_w),
            format!("no domestic appliance heats with {heating_w} W"),
            "give 0 to 30 kW",
        )?;
        Ok(Subject {
            class,
            lead_m,
            core_mm2,
            heating_w,
            sort: Sort::Stationary,
            unearthed_metal: false,
            sheathed_element: false,
            powered_switching: true,
            surge_arresters: false,
            rewired: false,
        })
    }

    /// Protection class.
    pub fn class(&self) -> Class {
        self.class
    }

    /// Length of the lead, m.
    pub fn lead_m(&self) -> f64 {
        self.lead_m
    }

    /// Section of the lead's protective core, mm².
    pub fn core_mm2(&self) -> f64 {
        self.core_mm2
    }

    /// Rated power of the heaters, W.
    pub fn heating_w(&self) -> f64 {
        self.heating_w
    }

    /// Test voltage of the insulation test, V DC.
    pub fn test_voltage_v(&self) -> u16 {
        if self.surge_arresters || self.class == Class::III { 250 } else { 500 }
    }
}
