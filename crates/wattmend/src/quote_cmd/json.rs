//! The same for a program; `docs/json.md` describes the keys. Amounts are decimal texts, so that no program rounds them.

use super::Quoted;
use report::figures::rounded;
use serde_json::{Value, json};
use worth::{LineKind, Quote};

/// The whole answer.
pub(super) fn render(quoted: &Quoted<'_>) -> Value {
    let plate = &quoted.found.machine.plate;
    let (q, prices) = (&quoted.quotation, &quoted.prices);
    let number = |a| prices.currency.number(a);
    json!({
        "format": 1,
        "machine": { "kind": plate.kind, "maker": plate.maker, "model": plate.model, "variant": quoted.found.variant },
        "currency": prices.currency.code(),
        "tax": prices.tax.name,
        "rounding": prices.rounding.says(),
        "low": number(q.low),
        "high": number(q.high),
        "likely": number(q.likely),
        "covers": rounded(q.covers),
        "says": q.says(prices.currency),
        "spent_minutes": quoted.spent,
        "quotes": q.quotes.iter().map(|(p, quote)| one(*p, quote, quoted)).collect::<Vec<_>>(),
    })
}

fn one(probability: f64, quote: &Quote, quoted: &Quoted<'_>) -> Value {
    let number = |a| quoted.prices.currency.number(a);
    let lines: Vec<Value> = quote
        .lines
        .iter()
        .map(|l| {
            let kind = match l.kind {
                LineKind::Labour => "labour",
                LineKind::Travel => "travel",
                LineKind::Part => "part",
            };
            json!({ "kind": kind, "what": l.what, "quantity": l.quantity, "net": number(l.net), "guessed": l.guessed })
        })
        .collect();
    let taxes: Vec<Value> = quote
        .taxes
        .iter()
        .map(|t| json!({ "rate": t.rate.normalize().to_string(), "base": number(t.base), "tax": number(t.tax) }))
        .collect();
    json!({
        "what": quote.what,
        "probability": rounded(probability),
        "lines": lines,
        "net": number(quote.net),
        "taxes": taxes,
        "rounded_by": number(quote.rounded_by),
        "gross": number(quote.gross),
    })
}
