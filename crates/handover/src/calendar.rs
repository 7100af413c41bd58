//! The follow-up as a calendar file (iCalendar, RFC 5545).

use crate::record::JobRecord;
use jiff::tz::Offset;
use jiff::{Timestamp, ZonedDateTime};
use std::fmt;

/// Longest line, octets, without its end (RFC 5545, 3.1).
const LONGEST_LINE: usize = 75;

/// Why there is no calendar file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalendarError {
    /// No follow-up is agreed.
    NoFollowUp,
    /// Its time has no zone with a name, such as Europe/Lisbon.
    NoZone,
}

impl fmt::Display for CalendarError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            CalendarError::NoFollowUp => "no follow-up is agreed",
            CalendarError::NoZone => "the follow-up needs a time zone with a name, such as Europe/Lisbon",
        })
    }
}

impl std::error::Error for CalendarError {}

/// A file with the one event, in the zone of the place; `made` is when the file is made. The zone's rules are given as they are
/// in force at the event.
///
/// # Errors
/// Where there is no follow-up, or its zone has no name.
pub fn calendar(record: &JobRecord, made: Timestamp) -> Result<String, CalendarError> {
    let follow = record.follow_up.as_ref().ok_or(CalendarError::NoFollowUp)?;
    let zone = follow.at.time_zone();
    let name = zone.iana_name().ok_or(CalendarError::NoZone)?;
    let place = record.customer.address().join(", ");
    let machine = record.machine.name();
    let summary =
        if machine.is_empty() { follow.what.clone() } else { format!("{}: {machine}", follow.what) };
    let reach: Vec<&str> = [&record.customer.name, &record.customer.phone]
        .into_iter()
        .map(String::as_str)
        .filter(|t| !t.is_empty())
        .collect();
    let mut out = String::new();
    let mut line = |name: &str, value: &str| {
        if !value.is_empty() {
            fold(&mut out, &format!("{name}:{value}"));
        }
    };
    line("BEGIN", "VCALENDAR");
    line("VERSION", "2.0");
    line("PRODID", "-//Wattmend//follow-up//EN");
    line("METHOD", "PUBLISH");
    line("BEGIN", "VTIMEZONE");
    line("TZID", name);
    rules(&follow.at, &mut line);
    line("END", "VTIMEZONE");
    line("BEGIN", "VEVENT");
    line("UID", &uid(record, &follow.at));
    line("DTSTAMP", &made.strftime("%Y%m%dT%H%M%SZ").to_string());
    line(&format!("DTSTART;TZID={name}"), &follow.at.strftime("%Y%m%dT%H%M%S").to_string());
    if follow.minutes > 0 {
        line("DURATION", &format!("PT{}M", follow.minutes));
    }
    line("SUMMARY", &text(&summary));
    line("LOCATION", &text(&place));
    line("DESCRIPTION", &text(&reach.join("\n")));
    line("END", "VEVENT");
    line("END", "VCALENDAR");
    Ok(out)
}

/// The observance in force at the event: standard or daylight time since the last change before it.
fn rules(at: &ZonedDateTime, line: &mut impl FnMut(&str, &str)) {
    let zone = at.time_zone();
    let now = zone.to_offset_info(at.timestamp());
    let part = if now.dst().is_dst() { "DAYLIGHT" } else { "STANDARD" };
    let change = zone.preceding(at.timestamp()).next();
    let (since, before) = match &change {
        Some(change) => {
            let just_before = change.timestamp().checked_sub(jiff::SignedDuration::from_secs(1));
            let before = just_before.map_or(now.offset(), |t| zone.to_offset(t));
            (before.to_datetime(change.timestamp()), before)
        }
        None => (jiff::civil::date(1970, 1, 1).at(0, 0, 0, 0), now.offset()),
    };
    line("BEGIN", part);
    line("DTSTART", &since.strftime("%Y%m%dT%H%M%S").to_string());
    line("TZOFFSETFROM", &offset(before));
    line("TZOFFSETTO", &offset(now.offset()));
    line("TZNAME", now.abbreviation());
    line("END", part);
}

/// `+0100`, with seconds where the zone has them.
fn offset(offset: Offset) -> String {
    let seconds = offset.seconds();
    let sign = if seconds < 0 { '-' } else { '+' };
    let (s, whole) = (seconds.abs() % 60, seconds.abs() / 60);
    let rest = if s == 0 { String::new() } else { format!("{s:02}") };
    format!("{sign}{:02}{:02}{rest}", whole / 60, whole % 60)
}

/// The same follow-up always has the same identifier, so that a file read in twice is one event.
fn uid(record: &JobRecord, at: &ZonedDateTime) -> String {
    let plain: String = record.reference.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
    format!("{plain}-{}@wattmend", at.timestamp().as_second())
}

/// A TEXT value (RFC 5545, 3.3.11). Other control characters have no place in one.
fn text(text: &str) -> String {
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            c if c.is_control() && c != '\t' => out.push(' '),
            c => out.push(c),
        }
        out
    })
}

/// A content line, folded between characters so that no part is longer than 75 octets.
fn fold(out: &mut String, line: &str) {
    let mut used = 0;
    for c in line.chars() {
        if used + c.len_utf8() > LONGEST_LINE {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(c);
        used += c.len_utf8();
    }
    out.push_str("\r\n");
}
