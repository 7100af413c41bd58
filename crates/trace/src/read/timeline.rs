//! Times put in order: gaps, repeats, late rows, clocks that were set.

use super::summary::{Remark, Stretch, Summary};
use crate::pace::Pace;

/// A row up to this much older than the one before is a late row; more, and the clock was set back.
const LATE_S: f64 = 60.0;

/// A row more than a day after the one before waits for the next row to bear it out.
const LONGEST_STEP_S: f64 = 86_400.0;

/// How a clock is read that says no zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wall {
    /// Knows no midnight and no summer time: counts, UTC.
    Steady,
    /// A clock of the place, with summer time.
    Local,
    /// A clock without a date: starts again at midnight.
    Daily,
}

/// Turns times as recorded into times that never decrease.
#[derive(Debug, Default)]
pub(super) struct Timeline {
    last_s: Option<f64>,
    /// Added to what is recorded since the clock was last set.
    shift_s: f64,
    pace: Pace,
}

impl Timeline {
    /// The usual time between samples, s; 0 before it is known.
    pub(super) fn step_s(&self) -> f64 {
        self.pace.step_s()
    }

    /// Whether a time is so far from the row before that one row alone does not carry it: the clock was set, a long
    /// time passed, or the time is garbage. The row after it tells.
    #[inline]
    pub(super) fn strays(&self, recorded_s: f64, wall: Wall) -> bool {
        let Some(last) = self.last_s else { return false };
        let step = recorded_s + self.shift_s - last;
        step > LONGEST_STEP_S
            || (step < -LATE_S && !Self::is_daily(-step, wall) && !self.is_hour_back(-step, wall))
    }

    /// Whether a time follows the row before, with nothing in between.
    pub(super) fn follows(&self, recorded_s: f64) -> bool {
        self.last_s.is_some_and(|last| (0.0..=LONGEST_STEP_S).contains(&(recorded_s + self.shift_s - last)))
    }

    fn is_daily(back: f64, wall: Wall) -> bool {
        wall == Wall::Daily && back > 43_200.0
    }

    fn is_hour_back(&self, back: f64, wall: Wall) -> bool {
        wall == Wall::Local && (back + self.step_s() - 3600.0).abs() <= LATE_S.max(3.0 * self.step_s())
    }

    /// Places a row; None where it is left out.
    #[inline]
    pub(super) fn place(
        &mut self,
        recorded_s: f64,
        wall: Wall,
        line: u64,
        summary: &mut Summary,
    ) -> Option<f64> {
        let mut time = recorded_s + self.shift_s;
        let Some(last) = self.last_s else {
            self.last_s = Some(time);
            return Some(time);
        };
        if time < last {
            time = self.back(time, last, wall, line, summary)?;
        }
        let step = time - last;
        if step == 0.0 {
            summary.duplicates.add(|| line);
            return Some(time);
        }
        if self.pace.is_gap(step) {
            summary.gaps.add(|| Stretch { start_s: last, end_s: time, line });
        }
        self.last_s = Some(time);
        Some(time)
    }

    fn back(&mut self, time: f64, last: f64, wall: Wall, line: u64, summary: &mut Summary) -> Option<f64> {
        let back = last - time;
        let (shift, why) = if Self::is_daily(back, wall) {
            self.shift_s += 86_400.0;
            return Some(time + 86_400.0).filter(|t| *t >= last).or(Some(last));
        } else if self.is_hour_back(back, wall) {
            (3600f64.max(back), "clock back by an hour, the end of summer time; time runs on".to_owned())
        } else if back <= LATE_S {
            summary
                .backward
                .add(|| Remark { line, why: format!("{back:.3} s older than a row before it; left out") });
            return None;
        } else {
            let why = format!(
                "clock back by {back:.0} s; taken for the next reading, {:.3} s later",
                self.step_s()
            );
            (back + self.step_s(), why)
        };
        self.shift_s += shift;
        summary.clock_changes.add(|| Remark { line, why });
        Some(time + shift)
    }
}
