//! Amounts of money: read, rounded, written.

use rust_decimal::{Decimal, RoundingStrategy};
use std::fmt;

/// Largest amount that is believed, in units of the currency: an appliance, also in a currency of small units.
const MOST: i64 = 1_000_000_000;

/// Longest text that is read, bytes.
const LONGEST_TEXT: usize = 60;

/// Signs and short words that stand before or after an amount; the codes of ISO 4217 beside them.
const SIGNS: [&str; 20] = [
    "€", "$", "£", "¥", "₹", "₩", "₺", "₽", "₴", "₪", "₫", "₱", "zł", "kr", "kr.", "Kč", "Ft", "Fr", "Fr.",
    "lei",
];

/// A currency of ISO 4217 that has a minor unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Currency {
    iso: iso_currency::Currency,
    exponent: u32,
}

/// How an amount is rounded to the minor unit. A quote says which.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rounding {
    /// Halves away from zero, as taught in school (from memory: EN 16931 rounds the amounts of an invoice so).
    #[default]
    HalfUp,
    /// Halves to the even neighbour.
    HalfEven,
}

/// Why a text is no currency, amount or share.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MoneyError {
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

impl fmt::Display for MoneyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for MoneyError {}

fn refused(message: String, remedy: &str) -> MoneyError {
    MoneyError { message, remedy: remedy.to_owned() }
}

impl Currency {
    /// From its code: `EUR`.
    ///
    /// # Errors
    /// Where ISO 4217 has no such code, or it has no minor unit (gold, special drawing rights).
    pub fn from_code(code: &str) -> Result<Currency, MoneyError> {
        let code = code.trim().to_uppercase();
        let shown: String = code.chars().take(10).collect();
        let iso = iso_currency::Currency::from_code(&code).ok_or_else(|| {
            refused(
                format!("`{shown}` is no currency of ISO 4217"),
                "write its three letters, such as EUR, GBP or JPY",
            )
        })?;
        let exponent = iso.exponent().ok_or_else(|| {
            refused(format!("{shown} has no minor unit: nobody pays in it"), "write for instance EUR")
        })?;
        Ok(Currency { iso, exponent: u32::from(exponent) })
    }

    /// Its code: `EUR`.
    pub fn code(self) -> &'static str {
        self.iso.code()
    }

    /// Reads an amount in this currency, as [`parse_amount`] does.
    ///
    /// # Errors
    /// Also where the code or the sign of another currency stands beside it.
    pub fn amount(self, text: &str) -> Result<Decimal, MoneyError> {
        let (amount, beside) = read_amount(text)?;
        match beside.into_iter().find(|named| !self.goes_by(named)) {
            None => Ok(amount),
            Some(other) => Err(refused(
                format!("`{}` is in {other}, and all else in {}", text.trim(), self.code()),
                &format!("give the amount in {}", self.code()),
            )),
        }
    }

    /// May a code or sign stand for it? Signs that several currencies share are taken for any that has no other.
    fn goes_by(self, named: &str) -> bool {
        let own = self.iso.symbol().symbol;
        if !SIGNS.contains(&named) {
            return named.is_empty() || named.eq_ignore_ascii_case(self.code());
        }
        named == own || (named != "€" && !SIGNS.contains(&own.as_str()))
    }

    /// Digits after the decimal point: 0 (JPY), 2 (EUR), 3 (BHD).
    pub fn exponent(self) -> u32 {
        self.exponent
    }

    /// An amount as it is written: `62.50 EUR`.
    pub fn format(self, amount: Decimal) -> String {
        format!("{} {}", self.number(amount), self.code())
    }

    /// The same without the currency: `62.50`. What has more digits is rounded, halves away from zero, never cut.
    pub fn number(self, amount: Decimal) -> String {
        format!("{:.1$}", self.round(amount, Rounding::HalfUp), self.exponent as usize)
    }

    /// Rounded to the minor unit.
    pub fn round(self, amount: Decimal, rounding: Rounding) -> Decimal {
        amount.round_dp_with_strategy(self.exponent, rounding.strategy())
    }
}

impl Rounding {
    fn strategy(self) -> RoundingStrategy {
        match self {
            Rounding::HalfUp => RoundingStrategy::MidpointAwayFromZero,
            Rounding::HalfEven => RoundingStrategy::MidpointNearestEven,
        }
    }

    /// The rule in words.
    pub const fn says(self) -> &'static str {
        match self {
            Rounding::HalfUp => "halves are rounded up",
            Rounding::HalfEven => "halves are rounded to the even digit",
        }
    }

    /// Rounded to whole steps, such as the 0.05 of cash; a step of 0 leaves it.
    pub(crate) fn to_step(self, amount: Decimal, step: Decimal) -> Decimal {
        if step.is_zero() {
            return amount;
        }
        (amount / step).round_dp_with_strategy(0, self.strategy()) * step
    }

    /// From `half-up` or `half-even`.
    ///
    /// # Errors
    /// For any other word.
    pub fn named(word: &str) -> Result<Rounding, MoneyError> {
        match word.trim() {
            "half-up" => Ok(Rounding::HalfUp),
            "half-even" => Ok(Rounding::HalfEven),
            other => {
                let other: String = other.chars().take(20).collect();
                Err(refused(format!("`{other}` is no rule of rounding"), "write half-up or half-even"))
            }
        }
    }
}

/// Reads an amount, with the sign or code of a currency or without: `38`, `38,50`, `.50`, `€ 38.5`, `38 EUR`. Not negative.
///
/// # Errors
/// Where it is none, or could be read in two ways (`1.250`: thousands or decimals; `1.2k`; `25%`).
pub fn parse_amount(text: &str) -> Result<Decimal, MoneyError> {
    read_amount(text).map(|(amount, _)| amount)
}

/// The same, with what stands before and after the number.
fn read_amount(text: &str) -> Result<(Decimal, [&str; 2]), MoneyError> {
    let shown = || text.trim().chars().take(30).collect::<String>();
    let wrong = || {
        refused(
            format!("`{}` is no amount of money", shown()),
            "write for instance 38 or 38.50; decimals with a point or comma, thousands without a mark",
        )
    };
    if text.len() > LONGEST_TEXT {
        return Err(wrong());
    }
    let in_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',');
    let text = text.trim();
    // The point of `Fr.` belongs to the sign: `Fr.38` is no share of a franc.
    let pointed = SIGNS.iter().filter(|sign| sign.ends_with('.')).find(|sign| text.starts_with(**sign));
    let from = match pointed {
        Some(sign) => sign.len() + text[sign.len()..].find(in_number).ok_or_else(wrong)?,
        None => text.find(in_number).ok_or_else(wrong)?,
    };
    let (before, rest) = text.split_at(from);
    let (number, after) = rest.split_at(rest.find(|c| !in_number(c)).unwrap_or(rest.len()));
    if !names_a_currency(before) || !names_a_currency(after) {
        return Err(wrong());
    }
    let beside = [before.trim(), after.trim()];
    let with_them = |amount: Decimal| (amount, beside);
    let Some((whole, decimals)) = number.split_once(['.', ',']) else {
        return believed(number).map(with_them).ok_or_else(wrong);
    };
    // Two marks would be thousands to some, and so would three digits after one mark.
    if decimals.is_empty() || decimals.contains(['.', ',']) {
        return Err(wrong());
    }
    if decimals.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0') {
        return Err(refused(
            format!("`{}` may be thousands or decimals", shown()),
            &format!("write {whole}{decimals}, or {whole}.{decimals}0"),
        ));
    }
    let number = format!("{}.{decimals}", if whole.is_empty() { "0" } else { whole });
    believed(&number).map(with_them).ok_or_else(wrong)
}

fn believed(number: &str) -> Option<Decimal> {
    let amount: Decimal = number.parse().ok()?;
    (amount <= Decimal::from(MOST) && amount.scale() <= 6).then_some(amount)
}

/// Nothing, a code of ISO 4217, or a sign that stands for a currency: not `k`, `%` or a minus, which say something else.
fn names_a_currency(text: &str) -> bool {
    let text = text.trim();
    text.is_empty()
        || SIGNS.contains(&text)
        || iso_currency::Currency::from_code(&text.to_uppercase()).is_some()
}

/// Reads a share in per cent, 0 to 200: `20%`, `8,1 %`, `25`. Comes as a share: 0.2.
///
/// # Errors
/// Where it is none, or could be read in two ways (`0.25`: a quarter, or a quarter of a per cent).
pub fn parse_percent(text: &str) -> Result<Decimal, MoneyError> {
    let shown: String = text.chars().take(30).collect();
    let wrong =
        || refused(format!("`{shown}` is no share in per cent"), "write 0% to 200%, for instance 20%");
    let (number, marked) = match text.trim().strip_suffix('%') {
        Some(number) => (number.trim(), true),
        None => (text.trim(), false),
    };
    let number = number.replace(',', ".");
    let digits = |c: char| c.is_ascii_digit();
    if number.len() > 12
        || !number.starts_with(digits)
        || !number.ends_with(digits)
        || !number.chars().all(|c| c.is_ascii_digit() || c == '.')
    {
        return Err(wrong());
    }
    let percent: Decimal = number.parse().map_err(|_| wrong())?;
    if !marked && !percent.is_zero() && percent < Decimal::ONE {
        return Err(refused(
            format!("`{shown}` may be a share or per cent"),
            &format!("write {}%, or {}%", (percent * Decimal::ONE_HUNDRED).normalize(), percent.normalize()),
        ));
    }
    if percent > Decimal::from(200) { Err(wrong()) } else { Ok(percent / Decimal::ONE_HUNDRED) }
}

#[cfg(test)]
mod tests {
    use super::{Currency, Rounding, parse_amount, parse_percent};
    use rust_decimal::Decimal;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn an_amount_in_another_currency_is_refused() {
        let of = |code: &str, text: &str| Currency::from_code(code).unwrap().amount(text);
        for (code, text) in [
            ("EUR", "38"),
            ("EUR", "€ 38"),
            ("EUR", "38 eur"),
            ("USD", "$38"),
            ("SEK", "38 kr"),
            ("CHF", "Fr. 38"),
            ("CHF", "Fr.38"),
        ] {
            assert_eq!(of(code, text).unwrap(), d("38"), "{code} {text}");
        }
        for (code, text) in
            [("EUR", "38 USD"), ("EUR", "$38"), ("GBP", "€ 38"), ("CHF", "38 €"), ("SEK", "£38")]
        {
            let error = of(code, text).unwrap_err();
            assert!(error.remedy.contains(code), "{code} {text}: {error}");
        }
    }

    #[test]
    fn amounts_are_read_in_any_currency() {
        for (text, amount) in [
            ("38", "38"),
            ("38,50", "38.50"),
            ("€ 38.5", "38.5"),
            ("38 EUR", "38"),
            ("0", "0"),
            ("1250.125", "1250.125"),
            (".50", "0.50"),
            (",5", "0.5"),
            ("0.125", "0.125"),
            ("1.2500", "1.2500"),
            ("38 kr", "38"),
            ("CHF 38", "38"),
        ] {
            assert_eq!(parse_amount(text).unwrap(), d(amount), "{text}");
        }
        for text in [
            "",
            "much",
            "-3",
            "−3",
            "1e9",
            "1,000.50",
            "1,000",
            "1.250",
            "12.500 EUR",
            "1.2k",
            "25%",
            "38.",
            ".",
            "3 8",
            "38 EURO",
            "NaN",
            "2000000000",
            "1.0000000",
            &"9".repeat(59),
        ] {
            assert!(parse_amount(text).is_err(), "{text}");
        }
        let doubtful = parse_amount("1.250").unwrap_err();
        assert_eq!(doubtful.remedy, "write 1250, or 1.2500");
        assert_eq!(parse_percent("8,1 %").unwrap(), d("0.081"));
        assert_eq!(parse_percent("0.25%").unwrap(), d("0.0025"));
        assert_eq!(parse_percent("0").unwrap(), d("0"));
        for text in ["", "x", "-1%", "201%", "1e1", "20%%", "%", ".", ".5%", "5.%"] {
            assert!(parse_percent(text).is_err(), "{text}");
        }
        assert_eq!(parse_percent("0.25").unwrap_err().remedy, "write 25%, or 0.25%");
    }

    /// Exponents of ISO 4217.
    #[test]
    fn each_currency_has_its_digits() {
        for (code, exponent, written) in
            [("JPY", 0, "1235 JPY"), ("EUR", 2, "1234.57 EUR"), ("BHD", 3, "1234.568 BHD")]
        {
            let currency = Currency::from_code(code).unwrap();
            assert_eq!(currency.exponent(), exponent);
            assert_eq!(currency.format(currency.round(d("1234.5678"), Rounding::HalfUp)), written);
        }
        assert!(Currency::from_code("EUX").is_err());
        assert!(Currency::from_code("XAU").is_err());
    }

    #[test]
    fn what_is_written_is_rounded_not_cut() {
        let written = |code: &str, amount: &str| Currency::from_code(code).unwrap().number(d(amount));
        for (code, amount, number) in [
            ("EUR", "62.555", "62.56"),
            ("EUR", "-0.005", "-0.01"),
            ("EUR", "5", "5.00"),
            ("JPY", "99.5", "100"),
        ] {
            assert_eq!(written(code, amount), number);
        }
    }

    #[test]
    fn halves_go_by_the_rule() {
        let eur = Currency::from_code("EUR").unwrap();
        for (amount, up, even) in
            [("0.125", "0.13", "0.12"), ("0.135", "0.14", "0.14"), ("2.675", "2.68", "2.68")]
        {
            assert_eq!(eur.round(d(amount), Rounding::HalfUp), d(up));
            assert_eq!(eur.round(d(amount), Rounding::HalfEven), d(even));
        }
        let step = |amount: &str| Rounding::HalfUp.to_step(d(amount), d("0.05"));
        assert_eq!([step("1.02"), step("1.025"), step("1.07")], [d("1.00"), d("1.05"), d("1.05")]);
    }
}
