//! Single keys of a socket.

use super::read::header;
use super::{Parity, Secret, SerialLine};
use machine::diagnostic::Diagnostic;
use machine::read::fields::{Fields, Findings, Text, as_number, as_text};
use quantity::Dimension;
use std::path::PathBuf;
use std::time::Duration;

/// A meter slower than this shows no service test.
const SLOWEST_S: f64 = 3600.0;
/// Faster than any meter at a plug.
const FASTEST_S: f64 = 0.02;

/// Longest text that is sent to a meter or a broker, bytes.
const LONGEST_TEXT: usize = 500;

/// A finding at a value, with what to write instead.
pub(super) fn refuse(
    findings: &mut Findings,
    rule: &'static str,
    at: &Text,
    message: impl Into<String>,
    mend: impl Into<String>,
) {
    findings.push(Diagnostic::error(rule, at.span.clone(), message).mend(mend));
}

/// A text that is sent: neither empty nor endless, and on one line.
pub(super) fn sent(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Text> {
    let text = fields.text(key, findings)?;
    sendable(&text, key, findings).then_some(text)
}

pub(super) fn sendable(text: &Text, key: &str, findings: &mut Findings) -> bool {
    let good = !text.text.trim().is_empty()
        && text.text.len() <= LONGEST_TEXT
        && !text.text.contains(char::is_control);
    if !good {
        let message = format!("`{key}` is empty, over {LONGEST_TEXT} bytes, or has a line break in it");
        refuse(findings, "bad-text", text, message, "write it on one line, as the meter's sheet gives it");
    }
    good
}

/// A time under `key` between the fastest and the slowest meter.
pub(super) fn duration(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Duration> {
    let text = fields.text(key, findings)?;
    let seconds = text.parse(findings, |t| quantity::parse(t, Dimension::Time))?;
    if !(FASTEST_S..=SLOWEST_S).contains(&seconds) {
        let message = format!("no meter gives a reading every {}", text.text);
        refuse(findings, "out-of-range", &text, message, "write between \"0.02 s\" and \"60 min\"");
        return None;
    }
    Some(Duration::from_secs_f64(seconds))
}

/// A whole number in a range; `default` where nothing is written.
pub(super) fn whole(
    fields: &Fields<'_>,
    key: &str,
    default: Option<u32>,
    range: std::ops::RangeInclusive<u32>,
    findings: &mut Findings,
) -> Option<u32> {
    let Some(value) = fields.get(key) else { return default };
    let number = fields.number(key, findings)?;
    if number.fract() != 0.0 || !(f64::from(*range.start())..=f64::from(*range.end())).contains(&number) {
        let message = format!("`{key}` of {} cannot be {number}", fields.name());
        findings.push(Diagnostic::error("out-of-range", value.span(), message).mend(format!(
            "write a whole number from {} to {}",
            range.start(),
            range.end()
        )));
        return None;
    }
    Some(number as u32)
}

/// Any number but 0 that is written bare, also a negative one; 1 where nothing is written.
pub(super) fn scale(fields: &Fields<'_>, findings: &mut Findings) -> Option<f64> {
    let Some(value) = fields.get("scale") else { return Some(1.0) };
    let number = as_number(value.get_ref()).filter(|n| n.is_finite() && *n != 0.0);
    if number.is_none() {
        fields.wrong_form(findings, "scale", value, "a number, not 0; negative to turn the sign round");
    }
    number
}

/// One of a few words; the first where nothing is written.
pub(super) fn choice<T: Copy>(
    fields: &Fields<'_>,
    key: &str,
    words: &[(&str, T)],
    findings: &mut Findings,
) -> Option<T> {
    if fields.get(key).is_none() {
        return words.first().map(|w| w.1);
    }
    let text = fields.text(key, findings)?;
    let known = words.iter().find(|(word, _)| *word == text.text);
    if known.is_none() {
        let all: Vec<String> = words.iter().map(|w| format!("\"{}\"", w.0)).collect();
        let message = format!("`{key}` cannot be `{}`", text.text);
        refuse(findings, "unknown-word", &text, message, format!("one of {}", all.join(", ")));
    }
    known.map(|k| k.1)
}

/// How much faster than it was something is played.
pub(super) fn speed(fields: &Fields<'_>, findings: &mut Findings) -> Option<f64> {
    let Some(value) = fields.get("speed") else { return Some(1.0) };
    let speed = fields.number("speed", findings)?;
    if !(0.01..=10_000.0).contains(&speed) {
        findings.push(
            Diagnostic::error("out-of-range", value.span(), "this cannot be played so fast or so slowly")
                .mend("write a number from 0.01 to 10000; 1 is as it was"),
        );
        return None;
    }
    Some(speed)
}

/// A file.
pub(super) fn path(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<PathBuf> {
    let text = fields.text(key, findings)?;
    if text.text.is_empty() || text.text.contains('\0') {
        let message = format!("`{key}` of {} names no file", fields.name());
        let mend = "write its path; one that is not absolute is taken from this file's folder";
        refuse(findings, "empty", &text, message, mend);
        return None;
    }
    Some(PathBuf::from(text.text))
}

/// A host's name or address, without port.
pub(super) fn host(fields: &Fields<'_>, findings: &mut Findings) -> Option<String> {
    let text = sent(fields, "host", findings)?;
    if text.text.contains(|c: char| c.is_whitespace() || "/@".contains(c)) {
        let message = format!("`{}` is no host's name or address", text.text);
        refuse(
            findings,
            "bad-host",
            &text,
            message,
            "write it like \"192.168.1.20\"; the port is a key of its own",
        );
        return None;
    }
    Some(text.text)
}

/// A TCP port.
pub(super) fn port(fields: &Fields<'_>, usual: u16, findings: &mut Findings) -> Option<u16> {
    let port = whole(fields, "port", Some(usual.into()), 1..=65_535, findings)?;
    u16::try_from(port).ok()
}

/// A password. What is wrong with it is told without showing it.
pub(super) fn secret(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Secret> {
    let text = as_text(fields.get(key)?);
    if let Some(text) = text.filter(|t| t.text.len() <= LONGEST_TEXT && !t.text.contains(char::is_control)) {
        return Some(Secret::new(text.text));
    }
    findings.push(
        Diagnostic::error(
            "wrong-form",
            header(fields),
            format!("`{key}` of {} must be a text on one line", fields.name()),
        )
        .mend("write it in quotation marks"),
    );
    None
}

/// A serial line and its settings.
pub(super) fn serial(fields: &Fields<'_>, findings: &mut Findings) -> Option<SerialLine> {
    let device = path(fields, "device", findings);
    let baud = whole(fields, "baud", Some(9600), 50..=4_000_000, findings);
    let stop_bits = whole(fields, "stop-bits", Some(1), 1..=2, findings);
    let parities = [("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)];
    let parity = choice(fields, "parity", &parities, findings);
    Some(SerialLine { device: device?, baud: baud?, parity: parity?, two_stop_bits: stop_bits? == 2 })
}
