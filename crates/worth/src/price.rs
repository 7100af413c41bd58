//! What the technician charges.

use crate::money::{Currency, Rounding};
use rust_decimal::Decimal;

/// A tax that is added to what work and parts cost, by its own share for each; 0 where there is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tax {
    /// As it is called: `VAT`.
    pub name: String,
    /// On labour and travel, as a share: 0.2.
    pub labour: Decimal,
    /// On parts.
    pub parts: Decimal,
}

/// The technician's prices, all without tax.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prices {
    /// The currency of all amounts.
    pub currency: Currency,
    /// An hour of labour.
    pub labour_per_hour: Decimal,
    /// Least that labour costs, however short.
    pub minimum_labour: Decimal,
    /// Travel, or the call-out, once a job.
    pub travel: Decimal,
    /// Added to what a part costs the technician, as a share: 0.25.
    pub mark_up: Decimal,
    /// The tax.
    pub tax: Tax,
    /// How amounts are rounded to the minor unit.
    pub rounding: Rounding,
    /// What is paid is rounded to whole steps of this, such as 0.05 for cash; 0: not.
    pub cash_step: Decimal,
}

impl Prices {
    /// Labour alone: no minimum, no travel, no mark-up, no tax.
    pub fn labour_only(currency: Currency, labour_per_hour: Decimal) -> Prices {
        Prices {
            currency,
            labour_per_hour,
            minimum_labour: Decimal::ZERO,
            travel: Decimal::ZERO,
            mark_up: Decimal::ZERO,
            tax: Tax { name: "tax".to_owned(), labour: Decimal::ZERO, parts: Decimal::ZERO },
            rounding: Rounding::default(),
            cash_step: Decimal::ZERO,
        }
    }
}
