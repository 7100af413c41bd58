//! The technician's prices, as the command line states them.

use crate::end::Failure;
use crate::find_cmd::frame::Frame;
use crate::money::{amount_in, amount_or_none, refused};
use machine::diagnostic::nearest;
use machine::model::Machine;
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use worth::{Currency, PartPrices, Prices, Rounding, Tax, parse_percent};

#[derive(clap::Args)]
pub(super) struct Asked {
    /// Currency of all amounts (ISO 4217): EUR, GBP, JPY
    #[arg(long, value_name = "CODE", default_value = "EUR")]
    currency: String,
    /// Least that labour costs, however short
    #[arg(long, value_name = "MONEY")]
    minimum: Option<String>,
    /// Travel, or the call-out
    #[arg(long, value_name = "MONEY")]
    travel: Option<String>,
    /// Added to what a part costs you: "25%"
    #[arg(long, value_name = "SHARE")]
    mark_up: Option<String>,
    /// Tax on work and parts: "VAT 20%"
    #[arg(long, value_name = "NAME SHARE")]
    tax: Option<String>,
    /// Tax on labour and travel, where it differs from that on parts: "0%"
    #[arg(long, value_name = "SHARE", requires = "tax")]
    labour_tax: Option<String>,
    /// Rounding of halves: half-up or half-even
    #[arg(long, value_name = "RULE", default_value = "half-up")]
    rounding: String,
    /// What is paid is rounded to steps of this: "0.05"
    #[arg(long, value_name = "MONEY")]
    cash_step: Option<String>,
    /// Minutes already worked on this job, which are charged too
    #[arg(long, value_name = "MINUTES", default_value_t = 0, value_parser = clap::value_parser!(u16).range(0..=6000))]
    pub(super) spent: u16,
}

impl Asked {
    /// All but the prices of parts.
    pub(super) fn prices(&self, frame: &Frame) -> Result<Prices, Failure> {
        let currency = Currency::from_code(&self.currency).map_err(refused("--currency"))?;
        let rate = frame.rate_text().ok_or_else(|| {
            Failure::asked_wrongly("a quote needs what your work costs", "give for instance --rate 60/h")
        })?;
        let share = |option, text: &Option<String>| {
            text.as_deref().map_or(Ok(Decimal::ZERO), |t| parse_percent(t).map_err(refused(option)))
        };
        Ok(Prices {
            currency,
            labour_per_hour: amount_in(currency, "--rate", rate)?,
            minimum_labour: amount_or_none(currency, "--minimum", self.minimum.as_deref())?,
            travel: amount_or_none(currency, "--travel", self.travel.as_deref())?,
            mark_up: share("--mark-up", &self.mark_up)?,
            tax: self.tax()?,
            rounding: Rounding::named(&self.rounding).map_err(refused("--rounding"))?,
            cash_step: amount_or_none(currency, "--cash-step", self.cash_step.as_deref())?,
        })
    }

    /// "VAT 20%".
    fn tax(&self) -> Result<Tax, Failure> {
        let Some(text) = self.tax.as_deref().map(str::trim) else {
            return Ok(Tax { name: String::new(), labour: Decimal::ZERO, parts: Decimal::ZERO });
        };
        let at = text.find(|c: char| c.is_ascii_digit() || matches!(c, '.' | ',')).unwrap_or(text.len());
        let (name, share) = text.split_at(at);
        let parts = parse_percent(share).map_err(refused("--tax"))?;
        let labour = match self.labour_tax.as_deref() {
            Some(text) => parse_percent(text).map_err(refused("--labour-tax"))?,
            None => parts,
        };
        let name = if name.trim().is_empty() { "tax" } else { name.trim() };
        Ok(Tax { name: name.chars().take(30).collect(), labour, parts })
    }
}

/// The prices of parts.
pub(super) fn parts(machine: &Machine, frame: &Frame, prices: &Prices) -> Result<PartPrices, Failure> {
    let mut known = BTreeMap::new();
    for (name, price) in frame.price_texts() {
        let part = machine.part(name).ok_or_else(|| {
            let near = nearest(name, machine.parts.iter().map(|p| p.id.as_str()));
            Failure::asked_wrongly(
                &format!("--price: this machine has no part `{name}`"),
                &near.map_or("`wattmend machine show FILE` lists the parts".to_owned(), |n| {
                    format!("did you mean {n}?")
                }),
            )
        })?;
        known.insert(part, amount_in(prices.currency, "--price", price)?);
    }
    let other = frame.part_price_text().map(|text| amount_in(prices.currency, "--part-price", text));
    Ok(PartPrices::new(known, other.transpose()?, prices.labour_per_hour))
}
