//! Moments as meters write them: dates in three orders, clock times, zones.

/// In which order a date of digits stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    /// 2024-03-31; the only order that needs no telling.
    YearFirst,
    /// 31/03/2024.
    DayFirst,
    /// 03/31/2024.
    MonthFirst,
}

/// A date's three fields as they stand, not yet told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DateFields {
    pub(super) first: u32,
    pub(super) second: u32,
    pub(super) third: u32,
    /// Whether the order shows in the text itself: a year in front, or a month in letters.
    pub(super) plain: Option<DateOrder>,
}

/// A moment: seconds since 1970-01-01 00:00, and whether the text states the zone they are in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    pub(super) unix_s: f64,
    pub(super) zoned: bool,
}

fn digits(text: &[u8]) -> Option<(u32, &[u8])> {
    let length = text.iter().take(5).take_while(|b| b.is_ascii_digit()).count();
    if length == 0 || length > 4 {
        return None;
    }
    let value = text[..length].iter().fold(0, |v, b| v * 10 + u32::from(b - b'0'));
    Some((value, &text[length..]))
}

fn month_name(text: &[u8]) -> Option<(u32, &[u8])> {
    const NAMES: &[u8; 36] = b"janfebmaraprmayjunjulaugsepoctnovdec";
    let name: [u8; 3] = text.get(..3)?.try_into().ok()?;
    let index = NAMES.chunks(3).position(|n| n == name.to_ascii_lowercase())?;
    Some((index as u32 + 1, &text[3..]))
}

/// Splits a date off the front of `text`.
pub(super) fn date_fields(text: &[u8]) -> Option<(DateFields, &[u8])> {
    let (first, rest) = digits(text)?;
    let year_first = text.len() - rest.len() == 4;
    let mark = *rest.first().filter(|b| matches!(b, b'/' | b'-' | b'.' | b' '))?;
    let rest = &rest[1..];
    let (second, named, rest) = match digits(rest) {
        Some((value, rest)) if mark != b' ' => (value, false, rest),
        _ => month_name(rest).map(|(value, rest)| (value, true, rest))?,
    };
    let rest = rest.strip_prefix(&[mark])?;
    let (third, rest) = digits(rest)?;
    let plain = match (year_first, named) {
        (true, _) => Some(DateOrder::YearFirst),
        (false, true) => Some(DateOrder::DayFirst),
        (false, false) => None,
    };
    Some((DateFields { first, second, third, plain }, rest))
}

/// Days from 1970-01-01 of a date in the proleptic Gregorian calendar; None where there is no such date.
/// After H. Hinnant, "chrono-compatible low-level date algorithms", days_from_civil.
fn days_from_civil(year: u32, month: u32, day: u32) -> Option<i64> {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    let longest = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if day == 0 || day > longest {
        return None;
    }
    let y = i64::from(year) - i64::from(month <= 2);
    let era = y.div_euclid(400);
    let yoe = y - era * 400;
    let doy = (153 * ((i64::from(month) + 9) % 12) + 2) / 5 + i64::from(day) - 1;
    let doe = yoe * 365 + yoe / 4 - yoe / 100 + doy;
    Some(era * 146_097 + doe - 719_468)
}

/// The day number of a date, read in the given order where the text itself leaves it open.
pub(super) fn day_number(fields: DateFields, order: DateOrder) -> Option<i64> {
    let (year, month, day) = match fields.plain.unwrap_or(order) {
        DateOrder::YearFirst => (fields.first, fields.second, fields.third),
        DateOrder::DayFirst => (fields.third, fields.second, fields.first),
        DateOrder::MonthFirst => (fields.third, fields.first, fields.second),
    };
    // Two-digit years are of this century: no meter of the last one writes files that turn up today.
    days_from_civil(if year < 100 { year + 2000 } else { year }, month, day)
}

/// Splits a clock time (`7:05`, `07:05:09,25`, `7:05:09 PM`) off the front: seconds since midnight. Hours may pass
/// 24, for stopwatches that count on.
pub(super) fn clock(text: &[u8]) -> Option<(f64, &[u8])> {
    let (mut hours, rest) = digits(text)?;
    let (minutes, mut rest) = digits(rest.strip_prefix(b":")?)?;
    let mut seconds = 0.0;
    if let Some(after) = rest.strip_prefix(b":") {
        let (whole, after) = digits(after)?;
        seconds = f64::from(whole);
        rest = after;
        if let [b'.' | b',', fraction @ ..] = rest {
            let length = fraction.iter().take(15).take_while(|b| b.is_ascii_digit()).count();
            let (value, _) = super::number::scan(&fraction[..length], b'.')?;
            seconds += value / (0..length).fold(1.0, |scale, _| scale * 10.0);
            rest = &fraction[length..];
        }
    }
    if minutes > 59 || seconds >= 61.0 {
        return None;
    }
    let (half, after) = half_of_day(rest);
    if let Some(afternoon) = half {
        if !(1..=12).contains(&hours) {
            return None;
        }
        hours = hours % 12 + if afternoon { 12 } else { 0 };
        rest = after;
    }
    Some((f64::from(hours * 3600 + minutes * 60) + seconds, rest))
}

fn half_of_day(text: &[u8]) -> (Option<bool>, &[u8]) {
    let trimmed = text.trim_ascii_start();
    match trimmed {
        [b'a' | b'A', b'm' | b'M', rest @ ..] => (Some(false), rest),
        [b'p' | b'P', b'm' | b'M', rest @ ..] => (Some(true), rest),
        _ => (None, text),
    }
}

/// Seconds to take off for UTC: `Z`, `+02:00`, `-0330`, `+2`, `UTC`. None where this is no zone.
fn zone(text: &[u8]) -> Option<f64> {
    let (sign, rest) = match text {
        b"Z" | b"z" | b"UTC" | b"GMT" => return Some(0.0),
        [b'+', rest @ ..] => (1.0, rest),
        [b'-', rest @ ..] => (-1.0, rest),
        _ => return None,
    };
    let (value, after) = digits(rest)?;
    let (hours, minutes) = match (rest.len() - after.len(), after) {
        (4, b"") => (value / 100, value % 100),
        (1 | 2, b"") => (value, 0),
        (1 | 2, [b':', more @ ..]) => (value, digits(more).filter(|(_, end)| end.is_empty())?.0),
        _ => return None,
    };
    (hours <= 14 && minutes < 60).then(|| sign * f64::from(hours * 3600 + minutes * 60))
}

/// Seconds since midnight and the zone's offset, from the text after a date (or a cell of its own).
fn clock_and_zone(text: &[u8]) -> Option<(f64, Option<f64>)> {
    let (seconds, rest) = clock(text)?;
    // A clock beside a date ends at 24:00, unlike a stopwatch.
    if seconds > 86_400.0 {
        return None;
    }
    let rest = rest.trim_ascii();
    if rest.is_empty() { Some((seconds, None)) } else { Some((seconds, Some(zone(rest)?))) }
}

/// Reads a date with a clock time after it; a date alone is its midnight.
pub(super) fn moment(text: &[u8], order: DateOrder) -> Option<Moment> {
    let (fields, rest) = date_fields(text)?;
    let days = day_number(fields, order)?;
    let rest = match rest {
        [b'T' | b't' | b' ' | b',' | b'_', after @ ..] => after.trim_ascii(),
        b"" => rest,
        _ => return None,
    };
    let (seconds, offset) = if rest.is_empty() { (0.0, None) } else { clock_and_zone(rest)? };
    Some(at(days, seconds, offset))
}

/// Reads a date and a clock time that stand in cells of their own.
pub(super) fn moment_of_two(date: &[u8], time: &[u8], order: DateOrder) -> Option<Moment> {
    let (fields, rest) = date_fields(date)?;
    if !rest.is_empty() {
        return None;
    }
    let (seconds, offset) = clock_and_zone(time)?;
    Some(at(day_number(fields, order)?, seconds, offset))
}

fn at(days: i64, seconds: f64, offset: Option<f64>) -> Moment {
    Moment { unix_s: days as f64 * 86_400.0 + seconds - offset.unwrap_or(0.0), zoned: offset.is_some() }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Expected seconds from GNU `date -u -d … +%s`.
    #[test]
    fn moments() {
        for (text, order, expected) in [
            ("2024-02-29T12:00:00Z", DateOrder::YearFirst, Some(1_709_208_000.0)),
            ("2024-02-29 12:00:00", DateOrder::YearFirst, Some(1_709_208_000.0)),
            ("2024-02-29T12:00:00.250+02:00", DateOrder::YearFirst, Some(1_709_200_800.25)),
            ("29/02/2024 12:00:00", DateOrder::DayFirst, Some(1_709_208_000.0)),
            ("29.02.24 12:00", DateOrder::DayFirst, Some(1_709_208_000.0)),
            ("2/29/2024 12:00:00 PM", DateOrder::MonthFirst, Some(1_709_208_000.0)),
            ("2/29/2024 12:00:00 AM", DateOrder::MonthFirst, Some(1_709_164_800.0)),
            ("29 Feb 2024 12:00:00", DateOrder::MonthFirst, Some(1_709_208_000.0)),
            ("1969-12-31 23:59:59", DateOrder::YearFirst, Some(-1.0)),
            ("2023-02-29 12:00:00", DateOrder::YearFirst, None),
            ("2024-02-29 25:00:00", DateOrder::YearFirst, None),
            ("2024-02-29 12:00:00 nonsense", DateOrder::YearFirst, None),
            ("31/31/2024 12:00", DateOrder::DayFirst, None),
        ] {
            assert_eq!(moment(text.as_bytes(), order).map(|m| m.unix_s), expected, "{text}");
        }
    }
}
