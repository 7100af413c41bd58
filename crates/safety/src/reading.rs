//! Readings, as a technician types them.

use crate::retest::{StepReading, StepShown};
use crate::test::Test;
use quantity::{Decoded, Dimension, parse_reading as parse_display};
use std::fmt;

/// Longest line that is read, bytes.
pub(crate) const LONGEST_LINE: usize = 500;

/// Largest current that is believed, A: more would trip any protection.
const MOST_A: f64 = 10.0;
/// Largest resistance that is believed, Ω.
const MOST_OHM: f64 = 1e13;

/// What was read or seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// A number with the worth of its last digit.
    Value(Decoded),
    /// More than this: `>299M`.
    Above(f64),
    /// Less than this: `<0.01 mA`.
    Below(f64),
    /// `OL`: more than the tester can show.
    OverRange,
    /// Answered: good, or not good.
    Good(bool),
}

/// One reading of a test.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The test.
    pub test: Test,
    /// What was read.
    pub shown: Shown,
    /// As it was written.
    pub said: String,
}

/// What a line says: a safety test's reading, or what a step of the service test drew.
#[derive(Clone, Debug, PartialEq)]
pub enum Typed {
    /// Of a safety test.
    Test(Reading),
    /// Of a step of the machine's own test, its key as it was written.
    Step(StepReading),
}

/// Why a text is no reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotAReading {
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

impl fmt::Display for NotAReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for NotAReading {}

pub(crate) fn refused(message: impl Into<String>, remedy: impl Into<String>) -> NotAReading {
    NotAReading { message: message.into(), remedy: remedy.into() }
}

/// Reads a line: `earth bond = 0R09`, `insulation = >299M`, `touch current = 0.12 mA`, `visual = pass`,
/// `step warm: 1.79 kW`.
///
/// # Errors
/// With what to write instead.
pub fn parse_typed(line: &str) -> Result<Typed, NotAReading> {
    if line.len() > LONGEST_LINE {
        return Err(refused("this line is far longer than any reading", "write one reading a line"));
    }
    let line = line.trim();
    if let Some(step) = line.strip_prefix("step ") {
        return step_reading(line, step);
    }
    let Some((test, shown)) = line.split_once(['=', ':']) else {
        return Err(refused(
            format!("`{line}` names no test and reading"),
            "write for instance: earth bond = 0R09",
        ));
    };
    let test = Test::named(test)
        .map_err(|remedy| refused(format!("no test is called `{}`", test.trim()), remedy))?;
    parse_reading(test, shown).map(|shown| Typed::Test(Reading { test, shown, said: line.to_owned() }))
}

fn step_reading(line: &str, step: &str) -> Result<Typed, NotAReading> {
    let Some((step, watts)) = step.split_once([':', '=']) else {
        return Err(refused(
            format!("`{line}` gives no watts"),
            "write for instance: step warm: 1.79 kW, or step warm: pass",
        ));
    };
    let of_step = |shown| Ok(Typed::Step(StepReading { step: step.trim().to_owned(), shown }));
    if let Some(good) = good(watts.trim()) {
        return of_step(StepShown::Good(good));
    }
    match parse_display(watts, Dimension::Power) {
        Ok(quantity::Reading::Value(w)) if (0.0..=30_000.0).contains(&w.value) => {
            of_step(StepShown::Watts(w))
        }
        Ok(_) => Err(refused(format!("{}: no appliance draws this", watts.trim()), "give 0 to 30 kW")),
        Err(error) => Err(refused(error.message, error.remedy)),
    }
}

/// Reads what a test showed: `0R09`, `>299M`, `0.35 mA`, `OL`, `pass`. Ohms may go without a unit (`0.09`); the megohms of
/// an insulation test and milliamperes may not, since a bare number may be either.
///
/// # Errors
/// With what to write instead.
pub fn parse_reading(test: Test, shown: &str) -> Result<Shown, NotAReading> {
    let shown = shown.trim();
    let Some(dimension) = test.measures() else {
        return good(shown).map(Shown::Good).ok_or_else(|| {
            refused(
                format!("`{shown}` is neither pass nor fail"),
                format!("write: {} = pass, or = fail", test.name()),
            )
        });
    };
    if good(shown).is_some() {
        return Err(refused(
            format!("the {} is judged from its reading", test.name()),
            format!("write what the tester showed: {} = {}", test.name(), example(test)),
        ));
    }
    let (bound, value) = match shown.chars().next() {
        Some('>' | '≥') => (Some(true), &shown[shown.chars().next().map_or(0, char::len_utf8)..]),
        Some('<' | '≤') => (Some(false), &shown[shown.chars().next().map_or(0, char::len_utf8)..]),
        _ => (None, shown),
    };
    let value = value.trim_start_matches('=').trim();
    // 0 is 0 in every unit.
    let bare = !value.contains(|c: char| c.is_alphabetic() || c == '∞')
        && value.contains(|c| ('1'..='9').contains(&c));
    if bare && test != Test::ProtectiveConductor {
        return Err(refused(
            format!("the unit of `{value}` is missing"),
            format!("write for instance: {} = {}", test.name(), example(test)),
        ));
    }
    let decoded = match parse_display(value, dimension) {
        Ok(quantity::Reading::Value(v)) => v,
        Ok(quantity::Reading::OverRange { below_zero: false }) if bound != Some(false) => {
            return Ok(Shown::OverRange);
        }
        Ok(_) => return Err(refused(format!("`{shown}` is no reading"), "write the number, or OL alone")),
        Err(error) => return Err(refused(error.message, error.remedy)),
    };
    let most = if dimension == Dimension::Current { MOST_A } else { MOST_OHM };
    if !(0.0..=most).contains(&decoded.value) {
        return Err(refused(
            format!("`{shown}` cannot be: below 0, or far more than any appliance shows"),
            "check sign and unit; unplug the machine and prove it dead before ohms",
        ));
    }
    Ok(match bound {
        Some(true) => Shown::Above(decoded.value),
        Some(false) => Shown::Below(decoded.value),
        None => Shown::Value(decoded),
    })
}

fn good(text: &str) -> Option<bool> {
    match text.to_lowercase().as_str() {
        "pass" | "passed" | "ok" | "yes" | "good" => Some(true),
        "fail" | "failed" | "no" | "bad" | "not ok" => Some(false),
        _ => None,
    }
}

fn example(test: Test) -> &'static str {
    match test {
        Test::ProtectiveConductor => "0R09",
        Test::Insulation => ">299M",
        _ => "0.35 mA",
    }
}

#[cfg(test)]
mod tests {
    use super::{Shown, Typed, parse_reading, parse_typed};
    use crate::retest::{StepReading, StepShown};
    use crate::test::Test;

    fn read(line: &str) -> Shown {
        match parse_typed(line).unwrap() {
            Typed::Test(reading) => reading.shown,
            Typed::Step(StepReading { shown: StepShown::Watts(w), .. }) => Shown::Value(w),
            Typed::Step(StepReading { shown: StepShown::Good(good), .. }) => Shown::Good(good),
        }
    }

    #[test]
    fn trade_notation_is_read() {
        for (line, value) in [
            ("earth bond = 0R12", 0.12),
            ("PE: 0.09 Ω", 0.09),
            ("earth = 0,11", 0.11),
            ("earth = 85 mΩ", 0.085),
            ("insulation = 2M2", 2.2e6),
            ("touch current = 0.35 mA", 0.35e-3),
            ("leakage = 350 µA", 0.35e-3),
            ("leakage = 0 mA", 0.0),
            ("step warm: 1.79 kW", 1790.0),
        ] {
            let Shown::Value(v) = read(line) else { panic!("{line}") };
            assert!((v.value - value).abs() <= 1e-12 * value.max(1.0), "{line}: {}", v.value);
        }
        assert_eq!(read("insulation = >299M"), Shown::Above(299e6));
        assert_eq!(read("insulation = > 19.99 MΩ"), Shown::Above(19.99e6));
        assert_eq!(read("leakage = <0.01 mA"), Shown::Below(1e-5));
        assert_eq!(read("insulation = OL"), Shown::OverRange);
        assert_eq!(read("insulation = >OL"), Shown::OverRange);
        assert_eq!(read("visual = pass"), Shown::Good(true));
        assert_eq!(read("functional test = FAIL"), Shown::Good(false));
        assert_eq!(read("step soak-fill: pass"), Shown::Good(true));
    }

    #[test]
    fn what_could_be_read_two_ways_is_refused() {
        for (line, words) in [
            ("insulation = 2.2", "unit"),
            ("leakage = 0.35", "unit"),
            ("leakage = 0,35", "unit"),
            ("earth bond = pass", "judged from its reading"),
            ("earth bond = 0.1 mA", "a resistance is wanted"),
            ("earth bond = -0.1", "cannot be"),
            ("leakage = 50 A", "cannot be"),
            ("insulation = <OL", "OL alone"),
            ("visual = 0R1", "neither pass nor fail"),
            ("smell = pass", "tests:"),
            ("0R12", "names no test"),
            ("step warm", "gives no watts"),
            ("step warm: 99 kW", "no appliance"),
            ("", "names no test"),
        ] {
            let error = parse_typed(line).unwrap_err().to_string();
            assert!(error.contains(words), "{line}: {error}");
        }
        assert!(parse_typed(&"x".repeat(501)).is_err());
        assert!(parse_reading(Test::Insulation, "").is_err());
    }
}
