//! Tax and rounding worked out by hand, the range, and what must hold of every quote.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use proptest::prelude::*;
use rust_decimal::Decimal;
use worth::{Case, Currency, LineKind, Part, Prices, Repair, Rounding, Tax, parse_amount, quotation, quote};

fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn prices(code: &str, hour: &str, vat: &str) -> Prices {
    let tax = Tax { name: "VAT".to_owned(), labour: d(vat), parts: d(vat) };
    Prices { tax, ..Prices::labour_only(Currency::from_code(code).unwrap(), d(hour)) }
}

fn part(price: &str, quantity: u32) -> Part {
    Part {
        what: "element".to_owned(),
        order: "AT-1178".to_owned(),
        price: d(price),
        guessed: false,
        quantity,
    }
}

fn repair(minutes: u32, parts: Vec<Part>) -> Repair {
    Repair { what: "fit a new element".to_owned(), minutes, parts }
}

/// Worked by hand: 35 min at 60.00 = 35.00; call-out 25.00; 38.00 + 25 % = 47.50; net 107.50; 20 % = 21.50; 129.00.
#[test]
fn a_plain_quote() {
    let prices = Prices { travel: d("25"), mark_up: d("0.25"), ..prices("EUR", "60", "0.20") };
    let q = quote(&repair(35, vec![part("38", 1)]), &prices);
    assert_eq!(q.lines.iter().map(|l| l.net).collect::<Vec<_>>(), [d("35.00"), d("25"), d("47.50")]);
    assert_eq!((q.net, q.taxes[0].tax, q.gross), (d("107.50"), d("21.50"), d("129.00")));
    assert_eq!(
        q.lines.iter().map(|l| l.kind).collect::<Vec<_>>(),
        [LineKind::Labour, LineKind::Travel, LineKind::Part]
    );
}

/// Short work costs the minimum, long work its time.
#[test]
fn the_minimum_holds_for_labour_alone() {
    let prices = Prices { minimum_labour: d("45"), ..prices("EUR", "60", "0") };
    for (minutes, labour) in [(0, "45"), (44, "45"), (45, "45"), (46, "46")] {
        assert_eq!(quote(&repair(minutes, vec![]), &prices).gross, d(labour), "{minutes} min");
    }
}

/// Tax is taken once on the sum: three parts of 0.33 at 19 % bear 0.19 together, not three times 0.06. And the price of one
/// is rounded before it is multiplied: 3 × (0.33 + 10 % = 0.36) = 1.08, not 1.09.
#[test]
fn tax_does_not_gather_the_rounding_of_lines() {
    let three = repair(0, vec![part("0.33", 1), part("0.33", 1), part("0.33", 1)]);
    let q = quote(&three, &prices("EUR", "60", "0.19"));
    assert_eq!((q.net, q.taxes[0].tax, q.gross), (d("0.99"), d("0.19"), d("1.18")));
    let marked = Prices { mark_up: d("0.10"), ..prices("EUR", "60", "0") };
    assert_eq!(quote(&repair(0, vec![part("0.33", 3)]), &marked).gross, d("1.08"));
}

/// Worked by hand in currencies of no, two and three decimals. 50 min at 6 500 an hour = 5 416.67 → 5 417; 10 % = 541.7 → 542.
#[test]
fn each_currency_rounds_to_its_own_unit() {
    for (code, hour, minutes, vat, gross) in [
        ("JPY", "6500", 50, "0.10", "5959"),
        ("EUR", "65", 50, "0.10", "59.59"),
        ("BHD", "6.5", 50, "0.10", "5.959"),
        ("CHF", "95", 40, "0.081", "68.46"),
    ] {
        assert_eq!(quote(&repair(minutes, vec![]), &prices(code, hour, vat)).gross, d(gross), "{code}");
    }
}

/// Halves by either rule: 30 min at 0.25 = 0.125.
#[test]
fn halves_go_by_the_rule_of_the_quote() {
    let up = prices("EUR", "0.25", "0");
    assert_eq!(quote(&repair(30, vec![]), &up).gross, d("0.13"));
    let even = Prices { rounding: Rounding::HalfEven, ..up };
    assert_eq!(quote(&repair(30, vec![]), &even).gross, d("0.12"));
}

/// Cash in steps of 0.05: 68.46 is paid as 68.45, and the difference stands on the quote.
#[test]
fn cash_goes_in_steps() {
    let prices = Prices { cash_step: d("0.05"), ..prices("CHF", "95", "0.081") };
    let q = quote(&repair(40, vec![]), &prices);
    assert_eq!((q.gross, q.rounded_by), (d("68.45"), d("-0.01")));
}

/// Where labour bears no tax and parts do: 60 labour, 50 parts at 8 %.
#[test]
fn labour_and_parts_may_bear_different_tax() {
    let mut prices = prices("USD", "60", "0.08");
    prices.tax.labour = Decimal::ZERO;
    let q = quote(&repair(60, vec![part("50", 1)]), &prices);
    assert_eq!(q.taxes.len(), 1);
    assert_eq!((q.taxes[0].base, q.taxes[0].tax, q.gross), (d("50"), d("4.00"), d("114.00")));
}

fn case(amount: &str, probability: f64) -> Case {
    Case { repair: repair(0, vec![part(amount, 1)]), probability }
}

#[test]
fn a_range_covers_the_likely_ones_and_names_the_likeliest() {
    let prices = prices("EUR", "60", "0");
    let eur = prices.currency;
    let cases = [case("62", 0.5), case("131", 0.2), case("48", 0.2), case("400", 0.02)];
    let q = quotation(&cases, &prices).unwrap();
    assert_eq!(q.says(eur), "48 to 131 EUR, most likely 62");
    assert!((q.covers - 0.9).abs() < 1e-12);
    assert_eq!(q.likeliest().unwrap().gross, d("62"));
    // Suspects whose repair costs the same are one amount: together they are the likeliest.
    let q = quotation(&[case("131", 0.4), case("62.5", 0.3), case("62.5", 0.3)], &prices).unwrap();
    assert_eq!(q.says(eur), "62.50 to 131.00 EUR, most likely 62.50");
    assert_eq!(quotation(&[case("62", 1.0)], &prices).unwrap().says(eur), "62 EUR");
    assert!(quotation(&[], &prices).is_none());
    assert!(quotation(&[case("62", f64::NAN), case("62", 0.0)], &prices).is_none());
}

fn any_prices() -> impl Strategy<Value = Prices> {
    let code = prop::sample::select(vec!["JPY", "EUR", "GBP", "BHD", "USD"]);
    let rounding = prop::sample::select(vec![Rounding::HalfUp, Rounding::HalfEven]);
    (code, 0i64..500_000, 0i64..100_000, 0i64..100_000, 0i64..2_000, 0i64..300, 0i64..300, rounding).prop_map(
        |(code, hour, minimum, travel, mark_up, labour, parts, rounding)| Prices {
            currency: Currency::from_code(code).unwrap(),
            labour_per_hour: Decimal::new(hour, 2),
            minimum_labour: Decimal::new(minimum, 2),
            travel: Decimal::new(travel, 2),
            mark_up: Decimal::new(mark_up, 3),
            tax: Tax {
                name: "VAT".to_owned(),
                labour: Decimal::new(labour, 3),
                parts: Decimal::new(parts, 3),
            },
            rounding,
            cash_step: Decimal::ZERO,
        },
    )
}

fn any_repair() -> impl Strategy<Value = Repair> {
    let parts = prop::collection::vec((0i64..1_000_000, 1u32..5), 0..6);
    (0u32..2_000, parts).prop_map(|(minutes, parts)| Repair {
        what: "work".to_owned(),
        minutes,
        parts: parts
            .into_iter()
            .map(|(price, quantity)| Part {
                what: "part".to_owned(),
                order: String::new(),
                price: Decimal::new(price, 2),
                guessed: false,
                quantity,
            })
            .collect(),
    })
}

proptest! {
    /// Lines add up to the net, bases to what bears tax, net and taxes to the gross; nothing has digits below the minor unit.
    #[test]
    fn totals_add_up(prices in any_prices(), repair in any_repair()) {
        let q = quote(&repair, &prices);
        prop_assert_eq!(q.lines.iter().map(|l| l.net).sum::<Decimal>(), q.net);
        prop_assert_eq!(q.net + q.taxes.iter().map(|t| t.tax).sum::<Decimal>() + q.rounded_by, q.gross);
        let bears = |kind: LineKind| {
            !(if kind == LineKind::Part { prices.tax.parts } else { prices.tax.labour }).is_zero()
        };
        let taxed: Decimal = q.lines.iter().filter(|l| bears(l.kind)).map(|l| l.net).sum();
        prop_assert_eq!(q.taxes.iter().map(|t| t.base).sum::<Decimal>(), taxed);
        let amounts = q.lines.iter().map(|l| l.net).chain(q.taxes.iter().map(|t| t.tax)).chain([q.gross]);
        for amount in amounts {
            prop_assert!(amount.normalize().scale() <= prices.currency.exponent(), "{}", amount);
            prop_assert!(!amount.is_sign_negative() || amount.is_zero());
        }
        let half = Decimal::new(5, prices.currency.exponent() + 1);
        for t in &q.taxes {
            prop_assert!((t.tax - t.base * t.rate).abs() <= half);
        }
    }

    /// More work never costs less.
    #[test]
    fn minutes_are_monotone(prices in any_prices(), repair in any_repair()) {
        let longer = Repair { minutes: repair.minutes + 1, ..repair.clone() };
        prop_assert!(quote(&longer, &prices).gross >= quote(&repair, &prices).gross);
    }

    /// The range holds the likeliest amount, and covers what it says.
    #[test]
    fn the_range_holds_the_likeliest(
        prices in any_prices(),
        cases in prop::collection::vec((any_repair(), 0.001f64..0.2), 1..6),
    ) {
        let cases: Vec<Case> = cases.into_iter().map(|(repair, probability)| Case { repair, probability }).collect();
        let q = quotation(&cases, &prices).unwrap();
        prop_assert!(q.low <= q.likely && q.likely <= q.high);
        let all: f64 = cases.iter().map(|c| c.probability).sum();
        prop_assert!(q.covers >= 0.9 * all - 1e-9 && q.covers <= all + 1e-9);
        let inside: f64 = q.quotes.iter().filter(|(_, quote)| q.low <= quote.gross && quote.gross <= q.high).map(|q| q.0).sum();
        prop_assert!(inside >= q.covers - 1e-9);
        prop_assert_eq!(q.likeliest().map(|l| l.gross), Some(q.likely));
    }

    #[test]
    fn no_text_makes_amounts_panic(text in "\\PC{0,40}") {
        if let Ok(amount) = parse_amount(&text) {
            prop_assert!(!amount.is_sign_negative() || amount.is_zero());
        }
        let _ = worth::parse_percent(&text);
        let _ = Currency::from_code(&text);
    }
}
