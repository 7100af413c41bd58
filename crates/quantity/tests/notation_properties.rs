//! No text panics, and what is written is read back.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use proptest::prelude::*;
use quantity::{
    Dimension, LONGEST_TEXT, NotationError, format, format_code, format_pm, parse, parse_any, parse_at,
    parse_range, parse_reading, parse_toleranced,
};

fn dimension() -> impl Strategy<Value = Dimension> {
    prop::sample::select(Dimension::ALL.to_vec())
}

/// Text made of the parts of trade notation in any order: it reaches further than random characters do.
fn near_notation() -> impl Strategy<Value = String> {
    let parts = [
        "1", "20", "234", "0", ".", ",", " ", "\u{a0}", "\u{202f}", "-", "−", "+", "±", "/", "%", "k", "M",
        "m", "R", "Ω", "\u{2126}", "µ", "u", "V", "W", "s", "min", "h", "l", "°C", "K", "at", "..", "…",
        "OL", "∞", "°F", "US gal", "imp", "gal", "ft", "in", "psi", "²", "⁻¹", "1/min", "ohm", "H2O", "é",
        "🔧", "İ",
    ];
    prop::collection::vec(prop::sample::select(parts.to_vec()), 0..12).prop_map(|v| v.concat())
}

fn checked<T>(text: &str, result: Result<T, NotationError>) -> Option<T> {
    result.map_err(|e| assert!(text.get(e.span.clone()).is_some(), "{text:?}: {e:?}")).ok()
}

fn read_in_every_way(text: &str) {
    for d in Dimension::ALL {
        if let Some(v) = checked(text, parse(text, d)) {
            assert!(v.is_finite(), "{text:?}: {v}");
        }
        if let Some(t) = checked(text, parse_toleranced(text, d)) {
            assert!(t.nominal.is_finite() && t.minus >= 0.0 && t.plus >= 0.0, "{text:?}: {t:?}");
        }
        if let Some((low, high)) = checked(text, parse_range(text, d)) {
            assert!(low <= high, "{text:?}");
        }
        checked(text, parse_at(text, d, Dimension::Voltage));
        checked(text, parse_reading(text, d));
    }
    checked(text, parse_any(text));
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in any::<String>()) {
        read_in_every_way(&text);
    }

    #[test]
    fn text_near_notation_is_read_or_refused(text in near_notation()) {
        read_in_every_way(&text);
    }

    #[test]
    fn long_texts_are_refused(text in "[0-9]{201,400}") {
        prop_assert!(text.len() > LONGEST_TEXT);
        prop_assert!(parse(&text, Dimension::Power).is_err());
    }

    /// What is written is read back to the digits shown: 1 part in 200 for three digits, or half a second or minute.
    #[test]
    fn written_values_are_read_back(d in dimension(), sign in prop::bool::ANY, exponent in -2.0..6.0f64) {
        let value = 10f64.powf(exponent) * if sign { 1.0 } else { -1.0 };
        let text = format(value, d);
        let back = parse(&text, d).map_err(|e| TestCaseError::fail(format!("{text}: {e}")))?;
        let allowed = if d == Dimension::Time && value.abs() >= 7000.0 { 30.1 } else { 0.0 };
        prop_assert!((back - value).abs() <= allowed + value.abs() / 190.0, "{value} {text} {back}");
        prop_assert_eq!(format(back, d), text);
    }

    #[test]
    fn written_uncertainties_are_read_back(d in dimension(), exponent in -1.0..5.0f64, share in 0.001..0.5f64) {
        let value = 10f64.powf(exponent);
        let text = format_pm(value, value * share, d);
        // Of a ratio, "10 ± 1 %" could be points or per cent of the value, which the reader refuses.
        prop_assume!(d != Dimension::Ratio);
        let back = parse_toleranced(&text, d).map_err(|e| TestCaseError::fail(format!("{text}: {e}")))?;
        prop_assert!((back.nominal - value).abs() <= value * share * 0.13, "{} {} {:?}", value, text, back);
        prop_assert!((back.plus - value * share).abs() <= value * share * 0.13, "{} {} {:?}", value, text, back);
    }

    #[test]
    fn resistance_codes_are_read_back(exponent in -1.0..10.0f64) {
        let value = 10f64.powf(exponent);
        let text = format_code(value);
        let back = parse(&text, Dimension::Resistance).map_err(|e| TestCaseError::fail(format!("{text}: {e}")))?;
        prop_assert!((back - value).abs() <= value / 190.0, "{value} {text} {back}");
        prop_assert_eq!(format_code(back), text);
    }
}
