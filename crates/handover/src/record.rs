//! What a job comes to on paper. Plain data, filled by the caller; every text is shown as it stands, never as markup.

use crate::bill::Bill;
use crate::proof::Proof;
use jiff::ZonedDateTime;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// A finished job.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct JobRecord {
    /// What the job is called in the technician's books: `2026-117`.
    pub reference: String,
    /// Day of the visit; none where it is not known.
    pub date: Option<Date>,
    /// Who did the work.
    pub firm: Firm,
    /// For whom.
    pub customer: Party,
    /// The machine, by its rating plate.
    pub machine: Plate,
    /// What was wrong, in the customer's words.
    pub complaint: String,
    /// What was found.
    pub found: Found,
    /// What was done.
    pub done: Done,
    /// The electrical safety test and the machine's own re-test; none: there was none.
    pub proof: Option<Proof>,
    /// What it costs; none: it was not priced.
    pub bill: Option<Bill>,
    /// What the customer decided; none: nobody was asked.
    pub consent: Option<Consent>,
    /// Advice to the customer, a sentence each.
    pub advice: Vec<String>,
    /// What is warranted, and for how long; empty: nothing is said of it.
    pub warranty: String,
    /// When to come again, and what for.
    pub follow_up: Option<FollowUp>,
    /// Who handed it over, and when, in words; empty: that is not kept.
    pub handed_over: String,
    /// It is not handed over yet: what stands here may still change.
    pub draft: bool,
    /// What was put right after it was handed over, oldest first. All else stands as it was handed over.
    pub corrections: Vec<Correction>,
    /// Last link of the chain over the job's log, as hexadecimal text: a later change to the log shows by it. Empty where the
    /// job was not kept in a log.
    pub chain: String,
}

/// Who did the work.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Firm {
    /// Name and address of the firm.
    #[serde(flatten)]
    pub party: Party,
    /// The person who was there.
    pub technician: String,
    /// Number under which the firm is registered for work or trade (BT-30); empty: none.
    pub registration: String,
    /// Account for payment, such as an IBAN (BT-84); empty: none.
    pub account: String,
}

/// A person or a firm with an address.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Party {
    /// Name (BT-27 of the seller, BT-44 of the buyer).
    pub name: String,
    /// Street and house number (BT-35, BT-50).
    pub street: String,
    /// Postcode (BT-38, BT-53).
    pub postcode: String,
    /// Town (BT-37, BT-52).
    pub town: String,
    /// Country, two letters of ISO 3166-1: `GB` (BT-40, BT-55).
    pub country: String,
    /// Telephone.
    pub phone: String,
    /// Electronic mail.
    pub email: String,
    /// Identifier for value added tax, with the letters of its country (BT-31, BT-48); empty: none.
    pub vat: String,
}

/// The machine, by its rating plate.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Plate {
    /// What it is: `washing machine`.
    pub kind: String,
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Variant of the model; empty: none.
    pub variant: String,
    /// Serial number; empty: not read.
    pub serial: String,
    /// What else stands on the plate, with units: `230 V 50 Hz`, `2100 W`, `class I`.
    pub ratings: Vec<String>,
}

/// What was found, with the evidence for it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Found {
    /// In one sentence; empty: it is not said.
    pub says: String,
    /// What was known, an entry each: complaint, codes, readings, what was seen.
    pub evidence: Vec<String>,
    /// Suspects before the last of the evidence, likeliest first; empty: not kept.
    pub before: Vec<Suspect>,
    /// Suspects after all of it, likeliest first.
    pub after: Vec<Suspect>,
    /// The machine's own service test, step by step.
    pub steps: Vec<Step>,
    /// Power over time as an SVG document; empty: nothing was recorded.
    pub trace_svg: String,
    /// What the picture shows, in words, for who cannot see it.
    pub trace_says: String,
}

/// What could explain the evidence.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Suspect {
    /// The fault in words.
    pub what: String,
    /// How probable, as written: `97 %`.
    pub probability: String,
}

/// A step of the service test.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Step {
    /// Its key or number.
    pub step: String,
    /// What it should read, with unit and uncertainty; empty: nothing is predicted.
    pub expected: String,
    /// What it read, with unit and uncertainty; empty: it was not read.
    pub read: String,
    /// The verdict in words.
    pub verdict: String,
}

/// What was done.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Done {
    /// Work, a sentence each.
    pub work: Vec<String>,
    /// Parts fitted.
    pub parts: Vec<Part>,
}

/// A part that was fitted.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Part {
    /// What it is.
    pub what: String,
    /// Order code; empty: not known.
    pub order: String,
    /// Serial or batch number; empty: it has none.
    pub serial: String,
    /// What the old part read, which is why it was changed; empty: it was not measured.
    pub old_read: String,
    /// How many.
    pub quantity: u32,
}

/// What the customer decided.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Consent {
    /// Who decided.
    pub name: String,
    /// What was offered.
    pub offer: String,
    /// When, as written, with its zone.
    pub at: String,
    /// Agreed; else declined.
    pub agreed: bool,
    /// Why it was declined, in the customer's words.
    pub why: String,
}

/// Something that was put right after the hand-over; what stood there before stays readable.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Correction {
    /// Of what: `serial number`.
    pub what: String,
    /// What the record says.
    pub was: String,
    /// What is right.
    pub now: String,
    /// Why it is put right.
    pub why: String,
    /// Who does.
    pub by: String,
    /// When, as written, with its zone.
    pub at: String,
}

/// When to come again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FollowUp {
    /// When, in the zone of the place.
    pub at: ZonedDateTime,
    /// How long, minutes.
    pub minutes: u32,
    /// What for.
    pub what: String,
}

impl Party {
    /// The address as it stands on a letter, a line each, without the name.
    pub fn address(&self) -> Vec<String> {
        let town = [self.postcode.as_str(), self.town.as_str()];
        let town = town.into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" ");
        [self.street.clone(), town, self.country.clone()].into_iter().filter(|l| !l.is_empty()).collect()
    }
}

impl Plate {
    /// Maker, model and variant in one line.
    pub fn name(&self) -> String {
        let variant = if self.variant == self.model { "" } else { self.variant.as_str() };
        let words = [self.maker.as_str(), self.model.as_str(), variant];
        words.into_iter().filter(|w| !w.is_empty()).collect::<Vec<_>>().join(" ")
    }
}
