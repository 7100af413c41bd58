//! The price as it stands on paper: lines, tax by rate, what is to be paid.

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use worth::{Currency, LineKind, MoneyError, Part, Prices, Quote, Repair};

/// What a job costs. Amounts are rounded to the minor unit of the currency already.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Bill {
    /// Number of the invoice (BT-1); empty: it is no invoice yet.
    pub number: String,
    /// Currency of all amounts, ISO 4217 (BT-5).
    pub currency: String,
    /// As the tax is called: `VAT`.
    pub tax_name: String,
    /// Lines, without tax.
    pub lines: Vec<BillLine>,
    /// Sum of the lines (BT-106, and BT-109: there are no charges or allowances on the whole).
    pub net: Decimal,
    /// Tax by rate, highest first; none at a rate of 0.
    pub taxes: Vec<TaxAmount>,
    /// Rounding to a coin that can be paid (BT-114).
    pub rounded_by: Decimal,
    /// What is to be paid, with what was paid already.
    pub gross: Decimal,
    /// What was paid already (BT-113).
    pub paid: Decimal,
    /// How it was paid: `card`.
    pub paid_by: String,
    /// Day by which it is to be paid (BT-9).
    pub due: Option<Date>,
    /// Terms of payment in words (BT-20).
    pub terms: String,
    /// Why lines bear no tax (BT-120); empty: no reason is given.
    pub untaxed: String,
}

/// A line of a bill.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct BillLine {
    /// What it is for (BT-153).
    pub what: String,
    /// How many (BT-129), in pieces.
    pub quantity: u32,
    /// What one costs (BT-146).
    pub one: Decimal,
    /// What they cost together (BT-131).
    pub net: Decimal,
    /// Tax on it as a share: 0.2 (BT-152 is in per cent).
    pub rate: Decimal,
}

/// Tax at one rate.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct TaxAmount {
    /// The rate as a share.
    pub rate: Decimal,
    /// What it is on (BT-116).
    pub base: Decimal,
    /// The tax (BT-117).
    pub tax: Decimal,
}

impl Bill {
    /// For work that was done: so many minutes, and the parts that were fitted.
    pub fn of_work(minutes: u32, parts: Vec<Part>, prices: &Prices) -> Bill {
        let names: Vec<String> = parts.iter().map(|p| format!("fit a new {}", p.what)).collect();
        let what = if names.is_empty() { "work on the machine".to_owned() } else { names.join(" and ") };
        Bill::of(&worth::quote(&Repair { what, minutes, parts }, prices), prices)
    }

    /// From a priced repair. Labour is one line of one piece with its minutes in words: with a minimum charge it is no
    /// multiple of a price per minute.
    pub fn of(quote: &Quote, prices: &Prices) -> Bill {
        let lines = quote.lines.iter().map(|line| {
            let (what, quantity, rate) = match line.kind {
                LineKind::Labour => {
                    (format!("labour, {} min: {}", line.quantity, line.what), 1, prices.tax.labour)
                }
                LineKind::Travel => (line.what.clone(), 1, prices.tax.labour),
                LineKind::Part => (line.what.clone(), line.quantity, prices.tax.parts),
            };
            // The price of one was rounded before it was taken so many times, so this division is exact.
            let one = line.net.checked_div(Decimal::from(quantity)).unwrap_or(line.net);
            BillLine { what, quantity, one, net: line.net, rate }
        });
        let taxes = quote.taxes.iter().map(|t| TaxAmount { rate: t.rate, base: t.base, tax: t.tax });
        Bill {
            currency: prices.currency.code().to_owned(),
            tax_name: prices.tax.name.clone(),
            lines: lines.collect(),
            net: quote.net,
            taxes: taxes.collect(),
            rounded_by: quote.rounded_by,
            gross: quote.gross,
            ..Bill::default()
        }
    }

    /// The currency.
    ///
    /// # Errors
    /// Where ISO 4217 has no such code with a minor unit.
    pub fn money(&self) -> Result<Currency, MoneyError> {
        Currency::from_code(&self.currency)
    }

    /// What is still to be paid (BT-115).
    pub fn open(&self) -> Decimal {
        self.gross - self.paid
    }

    /// Tax of all rates together (BT-110).
    pub fn tax(&self) -> Decimal {
        self.taxes.iter().map(|t| t.tax).sum()
    }
}

/// A share in per cent, as one writes it: 0.081 is 8.1.
pub(crate) fn per_cent(share: Decimal) -> String {
    (share * Decimal::ONE_HUNDRED).normalize().to_string()
}
