//! A record as the page shows it: amounts and dates as text, the claim on safety worked out.

use super::{Form, PdfError};
use crate::bill::{Bill, per_cent};
use crate::proof::{Claim, Proof};
use crate::record::{JobRecord, Party};
use jiff::civil::Date;
use serde_json::{Value, json};

/// The data of `record.typ`.
pub(super) fn of(record: &JobRecord, form: Form) -> Result<Value, PdfError> {
    let firm = &record.firm;
    let named = if record.reference.is_empty() { String::new() } else { format!(" {}", record.reference) };
    let title = match form {
        Form::Full => format!("Job record{named}"),
        Form::Customer => format!("Repair report{named}"),
    };
    Ok(json!({
        "full": form == Form::Full,
        "title": title,
        "reference": record.reference,
        "date": record.date.map_or(String::new(), day),
        "firm": party(&firm.party),
        "technician": firm.technician,
        "registration": firm.registration,
        "customer": party(&record.customer),
        "machine": {
            "name": record.machine.name(),
            "kind": record.machine.kind,
            "serial": record.machine.serial,
            "ratings": record.machine.ratings,
        },
        "complaint": record.complaint,
        "found": {
            "says": record.found.says,
            "evidence": record.found.evidence,
            "before": record.found.before,
            "after": record.found.after,
            "steps": record.found.steps,
            "trace": !record.found.trace_svg.is_empty(),
            "trace_says": record.found.trace_says,
        },
        "done": record.done,
        "claim": { "says": Claim::of(record.proof.as_ref()).says(), "passed": Claim::of(record.proof.as_ref()) == Claim::Passed },
        "proof": record.proof.as_ref().map(proof),
        "bill": record.bill.as_ref().map(bill).transpose()?,
        "consent": record.consent,
        "advice": record.advice,
        "warranty": record.warranty,
        "follow_up": record.follow_up.as_ref().map(|f| json!({
            "when": f.at.strftime("%-d %B %Y, %H:%M (%Q)").to_string(),
            "what": f.what,
        })),
        "chain": record.chain,
        "corrections": record.corrections,
        "draft": record.draft,
        "handed_over": record.handed_over,
    }))
}

/// A day in words, which no two countries read differently.
fn day(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

fn party(party: &Party) -> Value {
    let reach: Vec<&str> =
        [party.phone.as_str(), party.email.as_str()].into_iter().filter(|t| !t.is_empty()).collect();
    json!({ "name": party.name, "address": party.address(), "reach": reach, "vat": party.vat })
}

fn proof(proof: &Proof) -> Value {
    let rows: Vec<Value> = proof
        .rows
        .iter()
        .map(|r| {
            json!({
                "test": r.test, "limit": r.limit, "source": r.source, "reading": r.reading, "verdict": r.verdict.word(),
            })
        })
        .collect();
    json!({
        "standard": proof.standard,
        "tester": proof.tester,
        "calibration": proof.calibration,
        "on": proof.on.map_or(String::new(), day),
        "next_due": proof.next_due.map_or(String::new(), day),
        "rows": rows,
        "retest": proof.retest,
        "remarks": proof.remarks,
    })
}

/// What was paid already, and how; nothing where nothing was.
fn paid(bill: &Bill, money: worth::Currency) -> Value {
    if bill.paid.is_zero() {
        return Value::Null;
    }
    let how = if bill.paid_by.is_empty() { String::new() } else { format!(" ({})", bill.paid_by) };
    json!({ "says": format!("paid already{how}"), "amount": money.number(bill.paid) })
}

fn bill(bill: &Bill) -> Result<Value, PdfError> {
    let money = bill.money().map_err(|e| PdfError::Money(e.to_string()))?;
    let lines: Vec<Value> = bill
        .lines
        .iter()
        .map(|l| {
            json!({
                "what": l.what, "quantity": l.quantity.to_string(), "one": money.number(l.one),
                "net": money.number(l.net), "rate": format!("{} %", per_cent(l.rate)),
            })
        })
        .collect();
    let name = if bill.tax_name.is_empty() { "tax" } else { &bill.tax_name };
    let taxes: Vec<Value> = bill
        .taxes
        .iter()
        .map(|t| {
            let says = format!("{name} {} % on {}", per_cent(t.rate), money.number(t.base));
            json!({ "says": says, "amount": money.number(t.tax) })
        })
        .collect();
    let rounded = if bill.rounded_by.is_zero() { String::new() } else { money.number(bill.rounded_by) };
    Ok(json!({
        "number": bill.number,
        "currency": money.code(),
        "tax_name": name,
        "taxed": !bill.taxes.is_empty(),
        "lines": lines,
        "net": money.number(bill.net),
        "taxes": taxes,
        "rounded_by": rounded,
        "gross": money.format(bill.gross),
        "paid": paid(bill, money),
        "open": if bill.paid.is_zero() { String::new() } else { money.format(bill.open()) },
        "due": bill.due.map_or(String::new(), day),
        "terms": bill.terms,
        "untaxed": bill.untaxed,
    }))
}
