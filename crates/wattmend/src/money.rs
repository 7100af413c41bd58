//! Money as the options give it: one parser, with the option in what is refused.

use crate::end::Failure;
use rust_decimal::Decimal;
use worth::{Currency, MoneyError, parse_amount};

/// A refusal of `worth`, with its option.
pub(crate) fn refused(option: &str) -> impl Fn(MoneyError) -> Failure + '_ {
    move |e| Failure::asked_wrongly(&format!("{option}: {}", e.message), &e.remedy)
}

/// An amount, in whatever currency: where only shares of money count.
pub(crate) fn amount(option: &str, text: &str) -> Result<Decimal, Failure> {
    parse_amount(text).map_err(refused(option))
}

/// An amount in this currency.
pub(crate) fn amount_in(currency: Currency, option: &str, text: &str) -> Result<Decimal, Failure> {
    currency.amount(text).map_err(refused(option))
}

/// An amount that may be left out: nothing then.
pub(crate) fn amount_or_none(
    currency: Currency,
    option: &str,
    text: Option<&str>,
) -> Result<Decimal, Failure> {
    text.map_or(Ok(Decimal::ZERO), |t| amount_in(currency, option, t))
}
