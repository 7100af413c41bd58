//! What belongs to the technician and not to a job: instruments, labour rate.

use crate::error::RecordsError;
use crate::open::Records;
use rusqlite::OptionalExtension;
use serde::{Deserialize, Serialize};

/// An instrument that is owned, with its limits of error.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    /// `multimeter`, `power meter` …
    pub name: String,
    /// Limit of error in proportion to the reading.
    pub relative: f64,
    /// Limit of error beside that, in the base unit of what it measures.
    pub absolute: f64,
}

/// The settings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Instruments that are owned; none: never said.
    pub instruments: Option<Vec<Instrument>>,
    /// Labour rate, minor units of the currency an hour; none: never said.
    pub rate_minor: Option<i64>,
    /// What a part costs where its price is not known, minor units.
    pub part_minor: Option<i64>,
    /// Currency, as it is written beside an amount.
    pub currency: String,
}

impl Records {
    /// The settings; those never made are at rest.
    ///
    /// # Errors
    /// Where the disk refuses, or a newer program wrote them.
    pub fn settings(&self) -> Result<Settings, RecordsError> {
        let text: Option<String> = self
            .connection()
            .query_row("SELECT value FROM setting WHERE name = 'all'", [], |row| row.get(0))
            .optional()?;
        let Some(text) = text else { return Ok(Settings::default()) };
        serde_json::from_str(&text).map_err(|e| {
            RecordsError::new(
                format!("the settings cannot be read: {e}"),
                "save them anew on the page Settings",
            )
        })
    }

    /// Keeps the settings.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn keep_settings(&self, settings: &Settings) -> Result<(), RecordsError> {
        let text = serde_json::to_string(settings).map_err(|e| {
            RecordsError::new(format!("the settings cannot be written: {e}"), "check the numbers")
        })?;
        self.connection().execute(
            "INSERT INTO setting (name, value) VALUES ('all', ?1) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
            [text],
        )?;
        Ok(())
    }

    /// Days after which samples of no job may be let go of; none: never said. Nothing goes by itself.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn days_of_samples(&self) -> Result<Option<u16>, RecordsError> {
        let sql = "SELECT value FROM setting WHERE name = 'days of samples'";
        let text: Option<String> = self.connection().query_row(sql, [], |row| row.get(0)).optional()?;
        Ok(text.and_then(|t| t.parse().ok()))
    }

    /// Keeps that number of days.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn keep_days_of_samples(&self, days: u16) -> Result<(), RecordsError> {
        self.connection().execute(
            "INSERT INTO setting (name, value) VALUES ('days of samples', ?1)
             ON CONFLICT (name) DO UPDATE SET value = excluded.value",
            [days.to_string()],
        )?;
        Ok(())
    }
}
