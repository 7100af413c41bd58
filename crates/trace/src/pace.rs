//! How fast samples come, and where they stop coming.

/// This many gaps in a row are the recorder's new pace.
const NEW_PACE: u32 = 10;

/// The usual time between samples, learnt sample by sample.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Pace {
    step_s: f64,
    gaps_in_a_row: u32,
}

impl Pace {
    /// The usual time between samples, s; 0 before it is known.
    pub fn step_s(&self) -> f64 {
        self.step_s
    }

    /// Takes the time from a sample to the next, over 0 s, and says whether it is a gap: over five usual steps, and over
    /// 10 s or 20 usual steps, whichever is less.
    #[inline]
    pub fn is_gap(&mut self, step_s: f64) -> bool {
        let usual_s = self.step_s;
        let gap = usual_s > 0.0 && step_s > (5.0 * usual_s).max(10f64.min(20.0 * usual_s));
        self.gaps_in_a_row = if gap { self.gaps_in_a_row + 1 } else { 0 };
        if !gap || self.gaps_in_a_row >= NEW_PACE {
            self.learn(step_s);
        }
        gap
    }

    /// A running median of steps, in the manner of stochastic approximation: each step moves it by 2 %.
    #[inline]
    fn learn(&mut self, step_s: f64) {
        self.step_s = if self.step_s == 0.0 || self.gaps_in_a_row >= NEW_PACE {
            step_s
        } else if step_s > self.step_s {
            step_s.min(self.step_s * 1.02)
        } else {
            step_s.max(self.step_s / 1.02)
        };
    }
}

#[cfg(test)]
mod tests {
    use super::Pace;

    #[test]
    fn gaps_are_long_beside_the_usual_step() {
        let mut pace = Pace::default();
        let gaps: Vec<bool> = [1.0, 1.0, 2.0, 9.0, 11.0, 1.0].iter().map(|s| pace.is_gap(*s)).collect();
        assert_eq!(gaps, [false, false, false, false, true, false]);
        assert!((1.0..1.1).contains(&pace.step_s()));
    }

    #[test]
    fn a_recorder_set_to_a_slower_pace_is_followed() {
        let mut pace = Pace::default();
        for _ in 0..100 {
            pace.is_gap(1.0);
        }
        let gaps = (0..100).filter(|_| pace.is_gap(60.0)).count();
        assert_eq!((gaps, pace.step_s()), (10, 60.0));
    }
}
