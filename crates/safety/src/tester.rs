//! The instrument: how far its readings may be off, and whether its calibration holds.

use crate::reading::Shown;
use crate::test::Test;
use jiff::civil::Date;
use quantity::uncertainty::of_resolution;
use std::collections::BTreeMap;

/// Operating uncertainty that an instrument for these tests may have at most, in proportion (from memory: IEC 61557-2 and
/// -4). Taken where the tester's own limits of error are not given; it is an expanded uncertainty already.
const OPERATING_AT_MOST: f64 = 0.30;

/// Months after which a calibration is taken to have run out where no date is printed for it. Common practice, no source.
const CALIBRATION_MONTHS: i32 = 12;

/// Limits of error of one function of a tester, as its sheet states them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// In proportion to the reading.
    pub relative: f64,
    /// Beside that, in Ω or A.
    pub absolute: f64,
}

/// When the tester was last calibrated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Calibration {
    /// On this day.
    pub on: Date,
    /// Due again on this day; where none is printed, after 12 months.
    pub due: Option<Date>,
}

/// Whether a calibration holds on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Calibrated {
    /// It holds until this day, included.
    Until(Date),
    /// It ran out after this day: what was read proves nothing.
    RanOut(Date),
    /// It lies after the day of the test, or is due before it was done: one of the dates is wrong.
    Impossible,
    /// Nothing is known of it.
    NotStated,
}

/// The tester.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tester {
    /// Its name and number, for the record.
    pub name: String,
    /// Limits of error by test; 30 % of the reading where not given.
    pub accuracy: BTreeMap<Test, Accuracy>,
    /// Its calibration, where known.
    pub calibration: Option<Calibration>,
}

impl Tester {
    /// Expanded uncertainty (k = 2) of what was read, Ω or A: limits of error rectangular (JCGM 100, 4.3.7), the last
    /// digit likewise. Of a bound (`>299M`), at the bound; 0 for an over-range, which is no number.
    pub fn expanded_uncertainty(&self, test: Test, shown: Shown) -> f64 {
        let (value, resolution) = match shown {
            Shown::Value(v) => (v.value, v.resolution),
            Shown::Above(v) | Shown::Below(v) => (v, 0.0),
            Shown::OverRange | Shown::Good(_) => return 0.0,
        };
        let of_instrument = match self.accuracy.get(&test) {
            Some(a) => 2.0 * (a.relative * value + a.absolute) / 3f64.sqrt(),
            None => OPERATING_AT_MOST * value,
        };
        of_instrument.hypot(2.0 * of_resolution(resolution))
    }

    /// Whether its calibration holds on `today`.
    pub fn calibrated(&self, today: Date) -> Calibrated {
        let Some(c) = self.calibration else { return Calibrated::NotStated };
        let due = c.due.unwrap_or_else(|| {
            // Only a date at the end of the calendar, in the year 9999, cannot be moved on: then it holds to its end.
            c.on.checked_add(jiff::Span::new().months(CALIBRATION_MONTHS)).unwrap_or(Date::MAX)
        });
        if c.on > today || due < c.on {
            Calibrated::Impossible
        } else if due < today {
            Calibrated::RanOut(due)
        } else {
            Calibrated::Until(due)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Accuracy, Calibrated, Calibration, Tester};
    use crate::reading::Shown;
    use crate::test::Test;
    use jiff::civil::date;
    use quantity::Decoded;

    #[test]
    fn a_calibration_holds_to_its_last_day() {
        let on = date(2025, 11, 27);
        let with = |due| Tester { calibration: Some(Calibration { on, due }), ..Tester::default() };
        assert_eq!(with(None).calibrated(date(2026, 11, 27)), Calibrated::Until(date(2026, 11, 27)));
        assert_eq!(with(None).calibrated(date(2026, 11, 28)), Calibrated::RanOut(date(2026, 11, 27)));
        let due = Some(date(2027, 11, 27));
        assert_eq!(with(due).calibrated(date(2027, 1, 1)), Calibrated::Until(date(2027, 11, 27)));
        assert_eq!(with(None).calibrated(date(2025, 11, 26)), Calibrated::Impossible);
        assert_eq!(with(Some(date(2025, 1, 1))).calibrated(on), Calibrated::Impossible);
        assert_eq!(Tester::default().calibrated(on), Calibrated::NotStated);
        // The last day of February, and the end of the calendar.
        let leap = Tester {
            calibration: Some(Calibration { on: date(2024, 2, 29), due: None }),
            ..Tester::default()
        };
        assert_eq!(leap.calibrated(date(2025, 3, 1)), Calibrated::RanOut(date(2025, 2, 28)));
    }

    #[test]
    fn limits_of_error_are_rectangular() {
        let accuracy = Accuracy { relative: 0.05, absolute: 0.02 };
        let tester = Tester { accuracy: [(Test::ProtectiveConductor, accuracy)].into(), ..Tester::default() };
        let shown = Shown::Value(Decoded { value: 0.2, resolution: 0.0 });
        let u = tester.expanded_uncertainty(Test::ProtectiveConductor, shown);
        // (5 % of 0.2 Ω + 0.02 Ω) · 2/√3
        assert!((u - 0.03 * 2.0 / 3f64.sqrt()).abs() < 1e-12);
        // Not given: 30 % of the reading.
        assert!((tester.expanded_uncertainty(Test::Insulation, Shown::Above(2e6)) - 6e5).abs() < 1e-6);
    }
}
