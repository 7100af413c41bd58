//! What the readings themselves show about the meter: its resolution, and whether it is stuck.

use super::summary::{Stretch, Summary};

/// A load under this may well stand still: standby reads the same for hours.
const STUCK_OVER_W: f64 = 20.0;
const STUCK_OVER_S: f64 = 600.0;
const STUCK_OVER_SAMPLES: u64 = 60;

/// The smallest steps seen, with how often: enough to leave out a few odd ones.
const STEPS: usize = 8;

#[derive(Debug, Default)]
pub(super) struct Watch {
    last_w: f64,
    last_s: f64,
    since_s: f64,
    same: u64,
    steps: Vec<(f64, u64)>,
}

impl Watch {
    #[inline]
    pub(super) fn see(&mut self, time_s: f64, power_w: f64, line: u64, summary: &mut Summary) {
        if self.same > 0 && power_w != self.last_w {
            self.end(line, summary);
            self.step((power_w - self.last_w).abs());
        }
        if self.same == 0 {
            self.since_s = time_s;
            self.last_w = power_w;
        }
        self.same += 1;
        self.last_s = time_s;
    }

    /// Ends the stretch of equal readings.
    pub(super) fn end(&mut self, line: u64, summary: &mut Summary) {
        let (start_s, end_s) = (self.since_s, self.last_s);
        let long = end_s - start_s >= STUCK_OVER_S && self.same >= STUCK_OVER_SAMPLES;
        if long && self.last_w.abs() > STUCK_OVER_W {
            summary.stuck.add(|| Stretch { start_s, end_s, line });
        }
        self.same = 0;
    }

    #[inline]
    fn step(&mut self, step: f64) {
        let full = self.steps.len() == STEPS;
        if full && self.steps.last().is_some_and(|(largest, _)| step > largest * (1.0 + 1e-6)) {
            return;
        }
        // Steps equal but for the rounding of a subtraction are one.
        if let Some((_, count)) = self.steps.iter_mut().find(|(s, _)| (step - s).abs() <= 1e-6 * s.max(1e-3))
        {
            *count += 1;
            return;
        }
        if full {
            self.steps.pop();
        }
        let at = self.steps.partition_point(|(s, _)| *s < step);
        self.steps.insert(at, (step, 1));
    }

    /// The smallest step seen at least three times, W.
    pub(super) fn quantum_w(&self) -> Option<f64> {
        self.steps
            .iter()
            .find(|(step, count)| *count >= 3 && *step > 1e-6)
            .map(|(step, _)| (step * 1e6).round() / 1e6)
    }
}
