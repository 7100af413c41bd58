//! The level that a socket draws, with changes told soon and for good.

/// A change of level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// First sample at the new level, in seconds; where power goes on changing, the first off the old one.
    pub at_s: f64,
    /// The level before, W.
    pub from_w: f64,
    /// The new level, W.
    pub to_w: f64,
    /// From the one to the other within two samples or 1.5 s.
    pub sharp: bool,
}

/// What is this near to a level is at it, W, or this share of it.
const NEAR_W: f64 = 10.0;
const NEAR: f64 = 0.05;
/// A new level is one from its second calmed sample and this long on, in seconds.
const HELD_S: f64 = 1.0;
/// Power that finds no level is told of after this long and so many samples.
const RESTLESS_S: f64 = 5.0;
const RESTLESS: u32 = 4;
/// What changes within this is sharp, in seconds and samples.
const SHARP_S: f64 = 1.5;
const SHARP: u32 = 2;
/// The level is the mean of at most this many samples, so that it follows a slow drift.
const MEAN_OF: f64 = 50.0;

/// Whether a power is at a level.
pub(super) fn near(power_w: f64, level_w: f64) -> bool {
    (power_w - level_w).abs() <= NEAR_W.max(NEAR * level_w.abs())
}

/// Follows the level of one socket.
#[derive(Debug, Clone, Default)]
pub(super) struct Level {
    /// The last two samples.
    last: [Option<(f64, f64)>; 2],
    now: Option<Mean>,
    away: Option<Away>,
}

#[derive(Debug, Clone, Copy)]
struct Mean {
    watts: f64,
    samples: f64,
}

impl Mean {
    fn of(watts: f64) -> Self {
        Self { watts, samples: 1.0 }
    }

    fn add(&mut self, watts: f64) {
        self.samples = (self.samples + 1.0).min(MEAN_OF);
        self.watts += (watts - self.watts) / self.samples;
    }
}

/// Off the level, and perhaps at a new one.
#[derive(Debug, Clone, Copy)]
struct Away {
    since_s: f64,
    samples: u32,
    new: Mean,
    new_since_s: f64,
    /// Samples between the old level and the new one.
    between: u32,
}

impl Level {
    /// The level; none before the third sample.
    pub(super) fn watts(&self) -> Option<f64> {
        self.now.map(|m| m.watts)
    }

    /// Takes a sample; gives the calmed one before it, a median of three, and the change that it bears out.
    pub(super) fn push(&mut self, time_s: f64, power_w: f64) -> Option<((f64, f64), Option<Step>)> {
        let [before, last] = self.last;
        self.last = [last, Some((time_s, power_w))];
        let ((_, a), (at_s, b)) = before.zip(last)?;
        let calm_w = a.max(b).min(a.min(b).max(power_w));
        Some(((at_s, calm_w), self.see(at_s, calm_w)))
    }

    fn see(&mut self, time_s: f64, power_w: f64) -> Option<Step> {
        let Some(level) = &mut self.now else {
            self.now = Some(Mean::of(power_w));
            return None;
        };
        if near(power_w, level.watts) {
            level.add(power_w);
            self.away = None;
            return None;
        }
        let fresh =
            Away { since_s: time_s, samples: 0, new: Mean::of(power_w), new_since_s: time_s, between: 0 };
        let away = self.away.get_or_insert(fresh);
        away.samples += 1;
        if near(power_w, away.new.watts) {
            away.new.add(power_w);
        } else {
            away.new = Mean::of(power_w);
            away.new_since_s = time_s;
            away.between = away.samples - 1;
        }
        let held = away.new.samples >= 2.0 && time_s - away.new_since_s >= HELD_S;
        let restless = away.samples >= RESTLESS && time_s - away.since_s >= RESTLESS_S;
        if !held && !restless {
            return None;
        }
        let sharp = held && (away.between <= SHARP || away.new_since_s - away.since_s <= SHARP_S);
        let at_s = if held { away.new_since_s } else { away.since_s };
        let step = Step { at_s, from_w: level.watts, to_w: away.new.watts, sharp };
        self.now = Some(away.new);
        self.away = None;
        Some(step)
    }
}
