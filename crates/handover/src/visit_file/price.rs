//! `[price]`, `[invoice]` and the prices of parts: from the visit file to a bill.

use super::{Fitted, MOST_MINUTES, count, day, keys, wrong};
use crate::Bill;
use machine::diagnostic::Diagnostic;
use machine::read::fields::{Fields, Findings};
use rust_decimal::Decimal;
use worth::{Currency, MoneyError, Part, Prices, Rounding, Tax, parse_amount, parse_percent};

/// The bill; nothing where the file has no `[price]`.
pub(super) fn read(file: &Fields<'_>, fitted: &[Fitted], findings: &mut Findings) -> Option<Bill> {
    let Some((table, span)) = file.table("price", findings) else {
        if let Some((_, span)) = file.table("invoice", findings) {
            findings.push(
                Diagnostic::error("invoice-without-price", span, "an invoice needs a price")
                    .mend("add a [price], or take the [invoice] out"),
            );
        }
        return None;
    };
    let fields = Fields::open(table, keys::PRICE.name, span, &keys::PRICE, findings);
    let currency = match fields.text("currency", findings) {
        Some(text) => told(Currency::from_code(&text.text), &text, findings),
        None => Currency::from_code("EUR").ok(),
    };
    let minutes = count(&fields, "minutes", MOST_MINUTES, findings);
    let rate = amount(&fields, "rate", currency, findings);
    let rounding = match fields.text("rounding", findings) {
        Some(text) => told(Rounding::named(&text.text), &text, findings)?,
        None => Rounding::default(),
    };
    let minimum_labour = amount(&fields, "minimum", currency, findings).unwrap_or_default();
    let travel = amount(&fields, "travel", currency, findings).unwrap_or_default();
    let cash_step = amount(&fields, "cash-step", currency, findings).unwrap_or_default();
    let mark_up = share(&fields, "mark-up", findings).unwrap_or_default();
    let tax = tax(&fields, findings);
    let parts = parts(fitted, currency, findings);
    let prices = Prices {
        minimum_labour,
        travel,
        mark_up,
        tax,
        rounding,
        cash_step,
        ..Prices::labour_only(currency?, rate?)
    };
    let mut bill = Bill::of_work(minutes?, parts, &prices);
    if let Some((table, span)) = file.table("invoice", findings) {
        let fields = Fields::open(table, keys::INVOICE.name, span, &keys::INVOICE, findings);
        bill.number = fields.words("number", findings);
        bill.due = day(&fields, "due", findings);
        bill.terms = fields.words("terms", findings);
        bill.untaxed = fields.words("untaxed", findings);
    }
    Some(bill)
}

/// A part without a price has no place on a bill: nothing is guessed on an invoice.
fn parts(fitted: &[Fitted], currency: Option<Currency>, findings: &mut Findings) -> Vec<Part> {
    let mut parts = Vec::new();
    for f in fitted {
        let Some(text) = &f.price else {
            let message = format!("{} has no price, and the visit is priced", f.part.what);
            findings.push(
                Diagnostic::error("no-price", f.place.clone(), message)
                    .mend("add `price = \"38\"`, what one costs you; `price = \"0\"` for one that is free"),
            );
            continue;
        };
        let Some(price) = told(money(&text.text, currency), text, findings) else { continue };
        parts.push(Part {
            what: f.part.what.clone(),
            order: f.part.order.clone(),
            price,
            guessed: false,
            quantity: f.part.quantity,
        });
    }
    parts
}

/// "VAT 20%", and what differs on labour.
fn tax(fields: &Fields<'_>, findings: &mut Findings) -> Tax {
    let none = Tax { name: String::new(), labour: Decimal::ZERO, parts: Decimal::ZERO };
    let Some(text) = fields.text("tax", findings) else { return none };
    let at = text.text.find(|c: char| c.is_ascii_digit()).unwrap_or(text.text.len());
    let (name, rate) = text.text.split_at(at);
    let Some(parts) = told(parse_percent(rate), &text, findings) else { return none };
    let labour = share(fields, "labour-tax", findings).unwrap_or(parts);
    let name = if name.trim().is_empty() { "tax" } else { name.trim() };
    Tax { name: name.chars().take(30).collect(), labour, parts }
}

fn amount(
    fields: &Fields<'_>,
    key: &str,
    currency: Option<Currency>,
    findings: &mut Findings,
) -> Option<Decimal> {
    let text = fields.text(key, findings)?;
    told(money(text.text.trim_end_matches("/h"), currency), &text, findings)
}

/// An amount in the bill's currency; in any, where that itself was refused.
fn money(text: &str, currency: Option<Currency>) -> Result<Decimal, MoneyError> {
    currency.map_or_else(|| parse_amount(text), |c| c.amount(text))
}

fn share(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Decimal> {
    let text = fields.text(key, findings)?;
    told(parse_percent(&text.text), &text, findings)
}

fn told<T>(
    result: Result<T, MoneyError>,
    text: &machine::read::fields::Text,
    findings: &mut Findings,
) -> Option<T> {
    result.map_err(|e| wrong(findings, text, &e.message, &e.remedy)).ok()
}
