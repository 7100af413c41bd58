//! The visit file: TOML in, the written half of a [`JobRecord`] out, with all errors at once and at their place.
//!
//! `keys.rs` has its keys, `price.rs` reads its sums, `tested.rs` its safety test.

mod keys;
mod price;
mod tested;

use crate::{Consent, FollowUp, JobRecord, Part, Party, Plate};
use bench::Conditions;
use jiff::civil::Date;
use machine::diagnostic::{Diagnostic, Severity};
use machine::model::{Machine, PartId};
use machine::read::fields::{Fields, Findings, Text, document, first_line, format_is_known};
use toml::de::DeValue;

/// The newest format that this program reads.
const FORMAT: i64 = 1;

/// Most pieces of one part, and most minutes of a visit or a follow-up, that are believed.
const MOST_PIECES: f64 = 999.0;
const MOST_MINUTES: f64 = 6000.0;

/// A part that was fitted, with what only the machine file and the price need.
struct Fitted {
    /// Its place in the machine file, where it is one of its parts.
    id: Option<PartId>,
    part: Part,
    price: Option<Text>,
    place: machine::model::Span,
}

/// Reads a visit file about a machine, or one variant of it, whose steps are expected to read as under these conditions. What
/// was found is added by the caller; `today` stands where the file names no day.
///
/// # Errors
/// All of them, in the order of the file.
pub fn read(
    machine: &Machine,
    variant: Option<&str>,
    conditions: &Conditions,
    text: &str,
    today: Date,
) -> Result<JobRecord, Vec<Diagnostic>> {
    let mut findings = Findings::default();
    let record = read_into(machine, variant, conditions, text, today, &mut findings);
    let found = findings.in_order(text);
    match record {
        Some(record) if found.iter().all(|d| d.severity != Severity::Error) => Ok(record),
        _ => Err(found),
    }
}

fn read_into(
    machine: &Machine,
    variant: Option<&str>,
    conditions: &Conditions,
    text: &str,
    today: Date,
    findings: &mut Findings,
) -> Option<JobRecord> {
    let table = document(text, findings);
    if !format_is_known(&table, FORMAT, findings) {
        return None;
    }
    let file = Fields::open(&table, keys::FILE.name, first_line(text), &keys::FILE, findings);
    let mut record = JobRecord {
        reference: file.words("reference", findings),
        date: Some(day(&file, "date", findings).unwrap_or(today)),
        complaint: file.words("complaint", findings),
        advice: file.words_list("advice", findings),
        warranty: file.words("warranty", findings),
        chain: file.words("chain", findings),
        ..JobRecord::default()
    };
    record.found.says = file.words("found", findings);
    record.machine = Plate::of(machine, variant, &file.words("serial", findings));
    if let Some((table, span)) = file.table("firm", findings) {
        let firm = Fields::open(table, keys::FIRM.name, span, &keys::FIRM, findings);
        record.firm.party = party(&firm, findings);
        record.firm.technician = firm.words("technician", findings);
        record.firm.registration = firm.words("registration", findings);
        record.firm.account = firm.words("account", findings);
    }
    if let Some((table, span)) = file.table("customer", findings) {
        let customer = Fields::open(table, keys::CUSTOMER.name, span, &keys::CUSTOMER, findings);
        record.customer = party(&customer, findings);
    }
    let fitted = fitted(machine, &file, findings);
    record.done.work = file.words_list("work", findings);
    record.done.parts = fitted.iter().map(|f| f.part.clone()).collect();
    record.bill = price::read(&file, &fitted, findings);
    let on = record.date.unwrap_or(today);
    record.proof = tested::read(machine, &file, &fitted, conditions, on, findings);
    record.consent = consent(&file, findings);
    record.follow_up = follow_up(&file, findings);
    Some(record)
}

fn party(fields: &Fields<'_>, findings: &mut Findings) -> Party {
    let country = fields.text("country", findings).map_or(String::new(), |text| {
        let letters = text.text.trim().to_uppercase();
        if letters.len() != 2 || !letters.chars().all(|c| c.is_ascii_uppercase()) {
            wrong(findings, &text, "this is no country", "write its two letters of ISO 3166-1, such as IE");
        }
        letters
    });
    Party {
        name: fields.words("name", findings),
        street: fields.words("street", findings),
        postcode: fields.words("postcode", findings),
        town: fields.words("town", findings),
        country,
        phone: fields.words("phone", findings),
        email: fields.words("email", findings),
        vat: fields.words("vat", findings),
    }
}

fn fitted(machine: &Machine, file: &Fields<'_>, findings: &mut Findings) -> Vec<Fitted> {
    let mut all = Vec::new();
    for (at, (table, span)) in file.tables("part", findings).into_iter().enumerate() {
        let fields = Fields::open(table, format!("part {} of [[part]]", at + 1), span, &keys::PART, findings);
        let name = fields.words("part", findings);
        let id = machine.part(name.trim());
        let known = id.map(|id| &machine.parts[id]);
        let order = fields.words("order", findings);
        let quantity = count(&fields, "quantity", MOST_PIECES, findings).unwrap_or(1);
        let part = Part {
            what: known.map_or(name.clone(), Part::name),
            order: if order.is_empty() { known.map_or(String::new(), |p| p.order.clone()) } else { order },
            serial: fields.words("serial", findings),
            old_read: fields.words("old", findings),
            quantity,
        };
        all.push(Fitted { id, part, price: fields.text("price", findings), place: fields.span() });
    }
    all
}

fn consent(file: &Fields<'_>, findings: &mut Findings) -> Option<Consent> {
    let (table, span) = file.table("consent", findings)?;
    let fields = Fields::open(table, keys::CONSENT.name, span, &keys::CONSENT, findings);
    let consent = Consent {
        name: fields.words("name", findings),
        offer: fields.words("offer", findings),
        at: moment(&fields, "at", findings).map_or(String::new(), |t| t.text),
        agreed: fields.flag("agreed", findings),
        why: fields.words("why", findings),
    };
    if !consent.agreed && fields.get("agreed").is_some() && consent.why.trim().is_empty() {
        findings.push(
            Diagnostic::error("no-reason", fields.span(), "declined, and it is not said why")
                .mend("write `why = \"…\"` in the customer's words, also where it was only “too dear”"),
        );
    }
    Some(consent)
}

fn follow_up(file: &Fields<'_>, findings: &mut Findings) -> Option<FollowUp> {
    let (table, span) = file.table("follow-up", findings)?;
    let fields = Fields::open(table, keys::FOLLOW_UP.name, span, &keys::FOLLOW_UP, findings);
    let minutes = count(&fields, "minutes", MOST_MINUTES, findings).unwrap_or(0);
    let what = fields.words("what", findings);
    let at = moment(&fields, "at", findings)?;
    if let Ok(when) = at.text.trim().parse::<jiff::ZonedDateTime>() {
        return Some(FollowUp { at: when, minutes, what });
    }
    let remedy = "write day, time and zone: \"2027-01-12T09:30[Europe/Dublin]\"";
    wrong(findings, &at, "this is no time with its zone", remedy);
    None
}

/// A whole number from 1.
fn count(fields: &Fields<'_>, key: &str, most: f64, findings: &mut Findings) -> Option<u32> {
    let number = fields.number(key, findings)?;
    if number.fract() != 0.0 || !(1.0..=most).contains(&number) {
        let span = fields.get(key).map_or_else(|| fields.span(), toml::Spanned::span);
        findings.push(
            Diagnostic::error(
                "out-of-reach",
                span,
                format!("`{key}` of {} cannot be {number}", fields.name()),
            )
            .mend(format!("give a whole number from 1 to {most}")),
        );
        return None;
    }
    Some(number as u32)
}

/// A time: a text, or one of TOML's own.
fn moment(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Text> {
    let value = fields.get(key)?;
    match value.get_ref() {
        DeValue::Datetime(time) => Some(Text { text: time.to_string(), span: value.span() }),
        _ => fields.text(key, findings),
    }
}

/// A day.
fn day(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Date> {
    let text = moment(fields, key, findings)?;
    let day = text.text.trim().parse().ok();
    if day.is_none() {
        wrong(findings, &text, "this is no day", &format!("write year, month, day: {key} = 2026-11-28"));
    }
    day
}

/// A text that cannot be taken.
fn wrong(findings: &mut Findings, text: &Text, message: &str, remedy: &str) {
    findings.push(Diagnostic::error("not-understood", text.span.clone(), message).mend(remedy));
}
