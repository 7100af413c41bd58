//! `quote` and `worth`: what they refuse, what they print, and that the figures add up.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use serde_json::Value;
use support::{expected, same_as, wattmend};

const SMALL: &str = "good/small.toml";
const COLD: [&str; 6] = ["--complaint", "does not heat", "--reading", "step heat: 6 W", "--supply", "230V"];
const PRICES: [&str; 10] =
    ["--rate", "60/h", "--travel", "25", "--mark-up", "25%", "--tax", "VAT 20%", "--price", "element=38"];

fn json(arguments: &[&str]) -> Value {
    let printed = wattmend(arguments);
    assert_eq!(printed.code, 0, "{}", printed.err);
    serde_json::from_str(&printed.out).unwrap()
}

#[test]
fn each_refusal_has_its_code_and_says_what_to_do() {
    let worth = ["--age", "9", "--repair", "129", "--new-price", "550"];
    for (code, command, arguments, words) in [
        (4, "quote", [&COLD[..], &[]].concat(), "--rate 60/h"),
        (4, "quote", [&COLD[..], &["--rate", "lots"]].concat(), "38 or 38.50"),
        (4, "quote", [&COLD[..], &PRICES, &["--currency", "EUX"]].concat(), "EUR"),
        (4, "quote", [&COLD[..], &PRICES, &["--rounding", "down"]].concat(), "half-up"),
        (4, "quote", [&COLD[..], &PRICES, &["--minimum", "much"]].concat(), "--minimum"),
        (4, "quote", [&COLD[..], &["--rate", "60/h", "--tax", "VAT lots"]].concat(), "20%"),
        (
            4,
            "quote",
            [&COLD[..], &["--rate", "60/h", "--price", "elment=38"]].concat(),
            "did you mean element?",
        ),
        (4, "quote", [&PRICES[..], &[]].concat(), "there is no evidence yet"),
        (2, "quote", [&COLD[..], &PRICES, &["--spent", "7000"]].concat(), "6000"),
        (2, "worth", ["--repair", "129", "--new-price", "550"].to_vec(), "--age"),
        (4, "worth", [&worth[..], &["--shape", "0"]].concat(), "shape"),
        (4, "worth", [&worth[..], &["--discount", "60%"]].concat(), "discount"),
        (4, "worth", [&worth[..], &["--also", "bearing"]].concat(), "160 in 2"),
        (4, "worth", ["--age", "9", "--repair", "48..131", "--new-price", "550"].to_vec(), "48..131, 62"),
        (4, "worth", ["--age", "-9", "--repair", "48", "--new-price", "550"].to_vec(), "age"),
    ] {
        let printed = wattmend(&[&[command, SMALL], &arguments[..]].concat());
        assert_eq!(printed.code, code, "{arguments:?}\n{}{}", printed.out, printed.err);
        assert!(printed.err.contains(words), "{arguments:?}\n{}", printed.err);
        assert!(printed.out.is_empty());
    }
}

#[test]
fn a_quote_is_a_range_with_the_likeliest_in_detail() {
    let printed = wattmend(&[&["quote", SMALL], &COLD[..], &PRICES, &["--minimum", "45"]].concat());
    assert_eq!(printed.code, 0, "{}", printed.err);
    same_as(&expected("quote.txt"), &printed.out);
}

/// The JSON's decimals add up, in every currency.
#[test]
fn the_figures_of_a_quote_add_up() {
    use rust_decimal::Decimal;
    let d = |v: &Value| -> Decimal { v.as_str().unwrap().parse().unwrap() };
    for currency in ["EUR", "JPY", "BHD"] {
        let answer =
            json(&[&["quote", SMALL, "--json", "--currency", currency], &COLD[..], &PRICES].concat());
        assert_eq!(answer["currency"], currency);
        let quotes = answer["quotes"].as_array().unwrap();
        assert!(quotes.len() > 1);
        for q in quotes {
            let of = |list: &str, key: &str| -> Decimal {
                q[list].as_array().unwrap().iter().map(|l| d(&l[key])).sum()
            };
            assert_eq!(of("lines", "net"), d(&q["net"]));
            assert_eq!(d(&q["net"]) + of("taxes", "tax") + d(&q["rounded_by"]), d(&q["gross"]));
        }
        assert!(d(&answer["low"]) <= d(&answer["likely"]) && d(&answer["likely"]) <= d(&answer["high"]));
        assert!(answer["covers"].as_f64().unwrap() > 0.8);
    }
}

#[test]
fn a_repair_is_weighed_in_plain_sentences() {
    let arguments = [
        "--age",
        "9",
        "--repair",
        "48..131, 62",
        "--new-price",
        "550",
        "--delivery",
        "40",
        "--disposal",
        "20",
        "--energy",
        "0.9",
        "0.6",
        "--energy-price",
        "0.30",
        "--water",
        "55",
        "45",
        "--water-price",
        "4.50",
        "--also",
        "bearing worn: 160 in 2",
    ];
    let printed = wattmend(&[&["worth", SMALL], &arguments[..]].concat());
    assert_eq!(printed.code, 0, "{}", printed.err);
    same_as(&expected("worth.txt"), &printed.out);
    let answer = json(&[&["worth", SMALL, "--json"], &arguments[..]].concat());
    // Mean residual life of a washer at 9 years, shape 2.2, mean 12.6 years (crates/worth/tests/reference, ec-01).
    assert!((answer["years_left"].as_f64().unwrap() - 6.519_04).abs() < 1e-4);
    assert_eq!(answer["assumptions"]["pending"][0]["cost"], "160.00");
    assert_eq!(
        answer["says"].as_str().map(|s| printed.out.replace('\n', " ").contains(&s[..60])),
        Some(true)
    );
}
