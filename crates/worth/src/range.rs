//! A price while several suspects remain: as a range with the likeliest amount.

use crate::money::Currency;
use crate::price::Prices;
use crate::quote::{Quote, Repair, quote};
use rust_decimal::Decimal;

/// What may have to be done, and how likely.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// The repair of a suspect.
    pub repair: Repair,
    /// Probability of the suspect.
    pub probability: f64,
}

/// What the job may cost.
#[derive(Clone, Debug, PartialEq)]
pub struct Quotation {
    /// Every case priced, likeliest first.
    pub quotes: Vec<(f64, Quote)>,
    /// Least of the amounts that the range covers.
    pub low: Decimal,
    /// Most of them.
    pub high: Decimal,
    /// The likeliest amount.
    pub likely: Decimal,
    /// Probability that the range covers, of all there is: suspects that were not priced count against it.
    pub covers: f64,
}

/// Share of the priced probability that a range covers at least.
const COVERED: f64 = 0.9;

/// Prices every case and gives the range of the likeliest amounts that together cover 90 % of what was priced. Cases that come
/// to the same amount count as one. Nothing without a case of positive probability.
pub fn quotation(cases: &[Case], prices: &Prices) -> Option<Quotation> {
    let believed = |c: &&Case| c.probability > 0.0 && c.probability <= 1.0;
    let mut quotes: Vec<(f64, Quote)> =
        cases.iter().filter(believed).map(|c| (c.probability, quote(&c.repair, prices))).collect();
    quotes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut amounts: Vec<(Decimal, f64)> = Vec::new();
    for (p, quote) in &quotes {
        match amounts.iter_mut().find(|a| a.0 == quote.gross) {
            Some(same) => same.1 += p,
            None => amounts.push((quote.gross, *p)),
        }
    }
    // Of equally likely amounts the dearer comes first: nobody is told too little.
    amounts.sort_by(|a, b| b.1.total_cmp(&a.1).then(b.0.cmp(&a.0)));
    let priced: f64 = amounts.iter().map(|a| a.1).sum();
    let (likely, mut covers) = *amounts.first()?;
    let (mut low, mut high) = (likely, likely);
    for (amount, p) in amounts.iter().skip(1) {
        if covers >= COVERED * priced {
            break;
        }
        covers += p;
        low = low.min(*amount);
        high = high.max(*amount);
    }
    Some(Quotation { quotes, low, high, likely, covers })
}

impl Quotation {
    /// `48 to 131 EUR, most likely 62`; a single amount where there is but one.
    pub fn says(&self, currency: Currency) -> String {
        let whole = [self.low, self.high, self.likely].iter().all(|a| a.fract().is_zero());
        let number = |a: Decimal| if whole { a.trunc().normalize().to_string() } else { currency.number(a) };
        if self.low == self.high {
            return format!("{} {}", number(self.likely), currency.code());
        }
        format!(
            "{} to {} {}, most likely {}",
            number(self.low),
            number(self.high),
            currency.code(),
            number(self.likely)
        )
    }

    /// The quote that the likeliest amount comes from.
    pub fn likeliest(&self) -> Option<&Quote> {
        self.quotes.iter().map(|q| &q.1).find(|q| q.gross == self.likely)
    }
}
