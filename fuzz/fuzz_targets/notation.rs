//! Any text, read in every way there is: no panic, spans lie in the text, values are finite, and what was read and
//! written again is read back.
#![no_main]

use libfuzzer_sys::fuzz_target;
use quantity::{
    Dimension, NotationError, Reading, format, parse, parse_any, parse_at, parse_range, parse_reading,
    parse_toleranced,
};

fn checked<T>(text: &str, result: Result<T, NotationError>) -> Option<T> {
    result.map_err(|e| assert!(text.get(e.span.clone()).is_some(), "{text:?}: {e:?}")).ok()
}

fuzz_target!(|text: &str| {
    for d in Dimension::ALL {
        if let Some(value) = checked(text, parse(text, d)) {
            assert!(value.is_finite(), "{text:?} as {d}: {value}");
            // Beyond these magnitudes the digits written do not fit the longest text or the finest scale.
            if (1e-2..1e6).contains(&value.abs()) {
                let written = format(value, d);
                assert!(parse(&written, d).is_ok(), "{text:?} as {d}: {written:?}");
            }
        }
        if let Some(t) = checked(text, parse_toleranced(text, d)) {
            assert!(t.lower() <= t.nominal && t.nominal <= t.upper(), "{text:?} as {d}: {t:?}");
        }
        if let Some((low, high)) = checked(text, parse_range(text, d)) {
            assert!(low <= high, "{text:?} as {d}");
        }
        checked(text, parse_at(text, d, Dimension::Voltage));
        if let Some(Reading::Value(v)) = checked(text, parse_reading(text, d)) {
            assert!(v.value.is_finite() && v.resolution >= 0.0, "{text:?} as {d}: {v:?}");
        }
    }
    checked(text, parse_any(text));
});
