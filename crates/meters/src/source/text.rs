//! Numbers, times and JSON as meters write them.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use serde_json::Value;

/// Largest message that is read, bytes.
pub(crate) const LARGEST_MESSAGE: usize = 64 * 1024;

/// So much of a message is shown, bytes.
const SHOWN: usize = 4 * 1024;

/// So much of a value is shown in a reason, characters.
const SHOWN_OF_VALUE: usize = 40;

/// A count of seconds from here on is one of milliseconds: in seconds, the year 5138.
const MILLISECONDS_FROM: f64 = 1e11;

/// The number of a text: digits with a point or a comma before decimals, an exponent, blanks around.
pub(crate) fn number(text: &str) -> Result<f64, String> {
    let trimmed = text.trim();
    let comma = trimmed.matches(',').count() == 1 && !trimmed.contains('.');
    let parsed = if comma { trimmed.replace(',', ".").parse() } else { trimmed.parse() };
    parsed.map_err(|_| format!("`{}` is no plain number", shortened(trimmed, SHOWN_OF_VALUE)))
}

/// A JSON message.
pub(crate) fn json(bytes: &[u8]) -> Result<Value, String> {
    serde_json::from_slice(bytes).map_err(|e| format!("the message is no JSON ({e})"))
}

/// The number where a JSON pointer (RFC 6901) leads, also where it stands in quotation marks.
pub(crate) fn number_at(message: &Value, pointer: &str) -> Result<f64, String> {
    match found(message, pointer)? {
        Value::Number(n) => n.as_f64().ok_or_else(|| format!("`{n}` is out of range")),
        Value::String(text) => number(text),
        other => Err(format!("at {pointer} stands {}, no number", kind_of(other))),
    }
}

/// The moment where a JSON pointer leads.
pub(crate) fn time_at(message: &Value, pointer: &str) -> Result<Timestamp, String> {
    match found(message, pointer)? {
        Value::Number(n) => n.as_f64().ok_or(()).and_then(unix).map_err(|()| format!("`{n}` is no time")),
        Value::String(text) => time(text),
        other => Err(format!("at {pointer} stands {}, no time", kind_of(other))),
    }
}

fn found<'v>(message: &'v Value, pointer: &str) -> Result<&'v Value, String> {
    message.pointer(pointer).ok_or_else(|| format!("the message has nothing at {pointer}"))
}

fn kind_of(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}

/// A moment by a meter's clock: RFC 3339, the same without a zone (then as if it were UTC: only times between readings
/// count), or seconds or milliseconds from 1970.
pub(crate) fn time(text: &str) -> Result<Timestamp, String> {
    let text = text.trim();
    let refused = || format!("`{}` is no time", shortened(text, SHOWN_OF_VALUE));
    if let Ok(number) = text.parse::<f64>() {
        return unix(number).map_err(|()| refused());
    }
    if let Ok(stamp) = text.parse::<Timestamp>() {
        return Ok(stamp);
    }
    let civil: DateTime = text.parse().map_err(|_| refused())?;
    TimeZone::UTC.to_timestamp(civil).map_err(|_| refused())
}

fn unix(number: f64) -> Result<Timestamp, ()> {
    let seconds = if number.abs() >= MILLISECONDS_FROM { number / 1000.0 } else { number };
    unix_s(seconds).map_err(|_| ())
}

/// A moment by its seconds from 1970, to the millisecond.
pub(crate) fn unix_s(seconds: f64) -> Result<Timestamp, String> {
    let ms = (seconds * 1000.0).round();
    // Casting saturates; what is out of range is refused. NaN would become 0.
    let stamp = if ms.is_nan() { None } else { Timestamp::from_millisecond(ms as i64).ok() };
    stamp.ok_or_else(|| format!("`{seconds}` is no time"))
}

/// A message for showing: as text, cut off.
pub(crate) fn shown(bytes: &[u8]) -> String {
    let cut = &bytes[..bytes.len().min(SHOWN)];
    let mut text = String::from_utf8_lossy(cut).into_owned();
    if bytes.len() > SHOWN {
        text.push_str(&format!("… ({} bytes)", bytes.len()));
    }
    text
}

/// The first characters of a text.
pub(crate) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    #[test]
    fn numbers_as_meters_write_them() {
        for (text, expected) in [("230.1", 230.1), (" 1,5 ", 1.5), ("-3", -3.0), ("+1.20E+03", 1200.0)] {
            assert_eq!(number(text), Ok(expected));
        }
        for text in ["", "on", "1,234,5", "1.234,5", "12 W", "0x10"] {
            assert!(number(text).is_err(), "{text}");
        }
    }

    // RFC 6901, section 5: its example document and pointers.
    #[test]
    fn pointers_lead_where_the_standard_says() {
        let message = json!({"foo": [8, 9], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, " ": 7, "m~n": 8});
        for (pointer, expected) in [
            ("/foo/0", 8.0),
            ("/", 0.0),
            ("/a~1b", 1.0),
            ("/c%d", 2.0),
            ("/e^f", 3.0),
            ("/g|h", 4.0),
            ("/ ", 7.0),
            ("/m~0n", 8.0),
        ] {
            assert_eq!(number_at(&message, pointer), Ok(expected), "{pointer}");
        }
        for pointer in ["/foo", "/foo/2", "/nope", "/foo/-", "/foo/00"] {
            assert!(number_at(&message, pointer).is_err(), "{pointer}");
        }
    }

    #[test]
    fn times_in_their_notations_are_one_moment() {
        // GNU `date -u -d @1709208000`.
        let expected = Timestamp::from_second(1_709_208_000).unwrap();
        for text in [
            "2024-02-29T12:00:00Z",
            "2024-02-29T14:00:00+02:00",
            "2024-02-29T12:00:00",
            "2024-02-29 12:00:00",
            "1709208000",
            "1709208000000",
        ] {
            assert_eq!(time(text), Ok(expected), "{text}");
        }
        for text in ["", "yesterday", "1e300", "NaN", "2023-02-29T12:00:00Z"] {
            assert!(time(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn a_number_under_any_keys_is_found_by_its_pointer(
            keys in proptest::collection::vec(".{0,6}", 0..6),
            number in proptest::num::f64::NORMAL,
            quoted: bool,
        ) {
            let inner = if quoted { json!(number.to_string()) } else { json!(number) };
            let message = keys.iter().rev().fold(inner, |inner, key| json!({ key: inner, "other": 1 }));
            let escaped = |k: &String| format!("/{}", k.replace('~', "~0").replace('/', "~1"));
            let pointer = keys.iter().map(escaped).collect::<Vec<_>>().concat();
            // A key named like the other one is replaced by it.
            prop_assume!(keys.iter().all(|k| k != "other"));
            prop_assert_eq!(number_at(&message, &pointer), Ok(number));
        }

        #[test]
        fn no_bytes_are_too_strange_to_be_shown(bytes in proptest::collection::vec(any::<u8>(), 0..6000)) {
            let text = shown(&bytes);
            prop_assert!(text.len() <= 3 * SHOWN + 30);
        }
    }
}
