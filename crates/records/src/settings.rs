//! What belongs to the technician and not to a job: instruments, prices, the tester for safety and whose limits it keeps.

use crate::error::RecordsError;
use crate::open::Records;
use crate::visit::TesterFacts;
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
    /// When it is to be calibrated again: `2027-03-01`; empty: never said.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub due: String,
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
    /// Currency by ISO 4217; in records of an older program perhaps as it was written beside an amount.
    pub currency: String,
    /// What a quote takes beside rate and parts.
    pub charges: Charges,
    /// Key of the standard of the safety test; empty: never said.
    pub standard: String,
    /// The tester for it.
    pub tester: TesterFacts,
    /// Units in which pages read and show.
    pub units: ChosenUnits,
}

/// Units by their symbol, where others than the base units are chosen; empty: the base unit.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct ChosenUnits {
    /// `°F`.
    pub temperature: String,
    /// `US gal` or `imp gal`.
    pub volume: String,
    /// `ft`.
    pub length: String,
}

/// The file that says the pages in another language.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LanguageFile {
    /// Its name on the device that it came from.
    pub name: String,
    /// Its text, a gettext PO file.
    pub text: String,
}

/// What a quote takes beside rate and parts: decimal numbers as they were typed; empty: none.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Charges {
    /// Least that labour costs.
    pub minimum: String,
    /// Travel, or the call-out.
    pub travel: String,
    /// Added to what a part costs, per cent.
    pub mark_up: String,
    /// What the tax is called.
    pub tax_name: String,
    /// Tax on parts, per cent.
    pub tax: String,
    /// Tax on labour and travel, per cent; empty: as on parts.
    pub labour_tax: String,
    /// What is paid goes in steps of this.
    pub cash_step: String,
    /// Halves go to the even neighbour, not up.
    pub half_even: bool,
}

/// Who does the work, as it stands on records and invoices; as it was typed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct FirmFacts {
    /// Name of the firm.
    pub name: String,
    /// Who does the work, where the bench knows no people.
    pub technician: String,
    /// Street and number.
    pub street: String,
    /// Postcode.
    pub postcode: String,
    /// Town.
    pub town: String,
    /// Country, two letters of ISO 3166-1.
    pub country: String,
    /// Telephone.
    pub phone: String,
    /// Electronic mail.
    pub email: String,
    /// Identifier for value added tax.
    pub vat: String,
    /// Number of registration.
    pub registration: String,
    /// Account for payment, such as an IBAN.
    pub account: String,
    /// Terms of payment in words.
    pub terms: String,
    /// Why lines bear no tax.
    pub untaxed: String,
    /// The usual warranty.
    pub warranty: String,
    /// Paper of the PDFs: `a4` or `letter`; empty: A4.
    pub paper: String,
}

impl Records {
    /// Who does the work; empty where nobody said.
    ///
    /// # Errors
    /// Where the disk refuses, or a newer program wrote it.
    pub fn firm(&self) -> Result<FirmFacts, RecordsError> {
        let sql = "SELECT value FROM setting WHERE name = 'firm'";
        let text: Option<String> = self.connection().query_row(sql, [], |row| row.get(0)).optional()?;
        let Some(text) = text else { return Ok(FirmFacts::default()) };
        serde_json::from_str(&text).map_err(|e| {
            RecordsError::new(format!("the firm cannot be read: {e}"), "write it anew, under Settings")
        })
    }

    /// Keeps who does the work.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn keep_firm(&self, firm: &FirmFacts) -> Result<(), RecordsError> {
        let text = serde_json::to_string(firm)
            .map_err(|e| RecordsError::new(format!("the firm cannot be written: {e}"), "write it anew"))?;
        self.connection().execute(
            "INSERT INTO setting (name, value) VALUES ('firm', ?1) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
            [text],
        )?;
        Ok(())
    }

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

    /// The language file; none: the pages are English.
    ///
    /// # Errors
    /// Where the disk refuses, or a newer program wrote it.
    pub fn language_file(&self) -> Result<Option<LanguageFile>, RecordsError> {
        let sql = "SELECT value FROM setting WHERE name = 'language file'";
        let text: Option<String> = self.connection().query_row(sql, [], |row| row.get(0)).optional()?;
        let read = |text: String| {
            serde_json::from_str(&text).map_err(|e| {
                RecordsError::new(
                    format!("the language file cannot be read: {e}"),
                    "choose it anew, under Settings",
                )
            })
        };
        text.map(read).transpose()
    }

    /// Keeps the language file; none takes it away.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn keep_language_file(&self, file: Option<&LanguageFile>) -> Result<(), RecordsError> {
        let Some(file) = file else {
            self.connection().execute("DELETE FROM setting WHERE name = 'language file'", [])?;
            return Ok(());
        };
        let text = serde_json::to_string(file).map_err(|e| {
            RecordsError::new(format!("the language file cannot be written: {e}"), "choose another")
        })?;
        self.connection().execute(
            "INSERT INTO setting (name, value) VALUES ('language file', ?1)
             ON CONFLICT (name) DO UPDATE SET value = excluded.value",
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
