//! One repair, priced.

use crate::money::{Currency, Rounding};
use crate::price::Prices;
use rust_decimal::Decimal;

/// A part that a repair needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// What it is.
    pub what: String,
    /// Order code; empty where not known.
    pub order: String,
    /// What one costs the technician, without tax.
    pub price: Decimal,
    /// The price is a guess: nobody looked it up.
    pub guessed: bool,
    /// How many.
    pub quantity: u32,
}

/// A repair to be priced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repair {
    /// What is done: "fit a new element".
    pub what: String,
    /// Labour, whole minutes.
    pub minutes: u32,
    /// Parts.
    pub parts: Vec<Part>,
}

/// What a line is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineKind {
    /// Labour.
    Labour,
    /// Travel or call-out.
    Travel,
    /// A part.
    Part,
}

/// A line of a quote, without tax.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What it is for.
    pub kind: LineKind,
    /// What it says.
    pub what: String,
    /// Minutes, or pieces.
    pub quantity: u32,
    /// The amount, rounded to the minor unit.
    pub net: Decimal,
    /// Rests on a guessed price.
    pub guessed: bool,
}

impl Line {
    /// The line for a person: `labour, 35 min: fit a new element`.
    pub fn says(&self) -> String {
        let what = match self.kind {
            LineKind::Labour => format!("labour, {} min: {}", self.quantity, self.what),
            LineKind::Travel => self.what.clone(),
            LineKind::Part if self.quantity == 1 => self.what.clone(),
            LineKind::Part => format!("{} × {}", self.quantity, self.what),
        };
        if self.guessed { format!("{what} (price guessed)") } else { what }
    }
}

/// Tax at one rate, on the sum of the lines that bear it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaxLine {
    /// The rate as a share.
    pub rate: Decimal,
    /// What it is on.
    pub base: Decimal,
    /// The tax, rounded to the minor unit.
    pub tax: Decimal,
}

impl TaxLine {
    /// The line for a person: `VAT 20 % on 51.67`. `name`: of the tax.
    pub fn says(&self, name: &str, currency: Currency) -> String {
        let per_cent = (self.rate * Decimal::ONE_HUNDRED).normalize();
        format!("{name} {per_cent} % on {}", currency.number(self.base))
    }
}

/// A repair, priced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Quote {
    /// What is done.
    pub what: String,
    /// The lines: labour, travel, parts.
    pub lines: Vec<Line>,
    /// Sum of the lines.
    pub net: Decimal,
    /// Tax by rate, highest first; none at a rate of 0.
    pub taxes: Vec<TaxLine>,
    /// Rounding to the cash step.
    pub rounded_by: Decimal,
    /// What the customer pays: net, taxes and rounding.
    pub gross: Decimal,
}

/// Prices a repair. Every line is rounded to the minor unit; tax is worked out once a rate on the sum of its lines and
/// rounded then (the way of EN 16931, BR-CO-17), so that it does not gather the rounding of every line.
///
/// Amounts and minutes are those of [`crate::parse_amount`] and of a job, so nothing can overflow.
pub fn quote(repair: &Repair, prices: &Prices) -> Quote {
    let Prices { currency, rounding, .. } = *prices;
    let minutes = Decimal::from(repair.minutes);
    let labour = (minutes * prices.labour_per_hour / Decimal::from(60)).max(prices.minimum_labour);
    let mut lines = vec![Line {
        kind: LineKind::Labour,
        what: repair.what.clone(),
        quantity: repair.minutes,
        net: currency.round(labour, rounding),
        guessed: false,
    }];
    if !prices.travel.is_zero() {
        lines.push(Line {
            kind: LineKind::Travel,
            what: "travel".to_owned(),
            quantity: 1,
            net: currency.round(prices.travel, rounding),
            guessed: false,
        });
    }
    lines.extend(repair.parts.iter().map(|part| part_line(part, prices)));
    let net = lines.iter().map(|l| l.net).sum();
    let taxes = taxes(&lines, prices, rounding);
    let due = net + taxes.iter().map(|t| t.tax).sum::<Decimal>();
    let gross = rounding.to_step(due, prices.cash_step);
    Quote { what: repair.what.clone(), lines, net, taxes, rounded_by: gross - due, gross }
}

fn part_line(part: &Part, prices: &Prices) -> Line {
    // The price of one is what stands on an invoice: it is rounded, then taken so many times.
    let one = prices.currency.round(part.price * (Decimal::ONE + prices.mark_up), prices.rounding);
    let what =
        if part.order.is_empty() { part.what.clone() } else { format!("{}, {}", part.what, part.order) };
    Line {
        kind: LineKind::Part,
        what,
        quantity: part.quantity,
        net: one * Decimal::from(part.quantity),
        guessed: part.guessed,
    }
}

fn taxes(lines: &[Line], prices: &Prices, rounding: Rounding) -> Vec<TaxLine> {
    let rate = |line: &Line| match line.kind {
        LineKind::Labour | LineKind::Travel => prices.tax.labour,
        LineKind::Part => prices.tax.parts,
    };
    let mut rates: Vec<Decimal> = lines.iter().map(rate).filter(|r| !r.is_zero()).collect();
    rates.sort_unstable_by(|a, b| b.cmp(a));
    rates.dedup();
    rates
        .into_iter()
        .map(|r| {
            let base = lines.iter().filter(|l| rate(l) == r).map(|l| l.net).sum();
            TaxLine { rate: r, base, tax: prices.currency.round(base * r, rounding) }
        })
        .collect()
}
