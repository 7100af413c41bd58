//! Money as the options give it: one parser, with the option in what is refused.

use crate::end::Failure;
use rust_decimal::Decimal;
use worth::{MoneyError, parse_amount};

/// A refusal of `worth`, with its option.
pub(crate) fn refused(option: &str) -> impl Fn(MoneyError) -> Failure + '_ {
    move |e| Failure::asked_wrongly(&format!("{option}: {}", e.message), &e.remedy)
}

/// An amount.
pub(crate) fn amount(option: &str, text: &str) -> Result<Decimal, Failure> {
    parse_amount(text).map_err(refused(option))
}

/// An amount that may be left out: nothing then.
pub(crate) fn amount_or_none(option: &str, text: Option<&str>) -> Result<Decimal, Failure> {
    text.map_or(Ok(Decimal::ZERO), |t| amount(option, t))
}
