//! What a socket draws now, for a page that is looked at while the machine runs.
//!
//! [`Live::push`] takes a sample and says what changed; [`Live::now`] says what is on. Both are provisional: what a run
//! was is said by [`crate::loads::Stream`] when it is over, and that is what is kept. Promised is this (`tests/live.rs`):
//!
//! - **Nothing is taken back.** Events depend on the samples so far only; each is given at most [`LOOK_BACK_S`] or
//!   [`LOOK_BACK_SAMPLES`] samples (whichever is longer) after its `at_s`, [`Event::HeaterOn`] [`HEATER_S`] later still.
//! - **Levels are true.** Between two [`Event::Level`] no power stays off the level told for longer than that look-back.
//! - **Heaters.** A heater interval of the finished run that lasts 30 s or more and begins and ends at once, by 500 W or
//!   more, was announced with the same start and end up to that look-back; its watts before it is known what went on
//!   after it. What was announced and is no interval of the finished run draws less than half of what the run's heater
//!   does: that a far stronger load was still to come only the whole run tells.
//!
//! A push takes well under a microsecond, memory is fixed: 100 sockets at ten samples a second are no load
//! (`benches/live.rs`). `Stream::so_far` reads the whole run anew and is not meant for every sample.

mod level;
mod turns;

pub use level::Step;

use crate::loads::{QUIET_S, quantile};
use level::Level;
use std::collections::VecDeque;
use turns::Turns;

/// How long after its `at_s` an event is given at the latest, in seconds and in samples, whichever is longer.
pub const LOOK_BACK_S: f64 = 6.0;
/// See [`LOOK_BACK_S`].
pub const LOOK_BACK_SAMPLES: usize = 6;
/// A strong load is announced as a heater after this long, in seconds; motors start and pumps run up in less.
pub const HEATER_S: f64 = 10.0;

/// Least rise of a heater, in watts: elements made for heating draw 450 W to 3000 W (from memory).
const HEATER_W: f64 = 450.0;
/// And this share of the strongest heater of the run, whose smaller element it may be; a motor stays under it.
const OF_STRONGEST: f64 = 0.4;
/// A load that rises by this many times the rise before it is not the second stage of the same heater: 1/0.28 − 1, where
/// 0.28 is the smallest stage in [`crate::loads`].
const FAR_STRONGER: f64 = 2.57;
/// It is off when this share of its rise is left.
const OFF: f64 = 0.45;
/// Nothing runs up to this, in watts, as in [`crate::loads::Stream`].
const IDLE_W: f64 = 5.0;
/// What is kept to read watts from, in seconds and samples.
const KEPT_S: f64 = 30.0;
const KEPT: usize = 512;
/// While a drum turns and pauses, the level without it is the one below which this share of the samples lies.
const LOW: f64 = 0.25;

/// A heater that is or was on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heater {
    /// First sample at its level, in seconds.
    pub since_s: f64,
    /// Its own watts, what ran before it taken off.
    pub power_w: f64,
}

/// What a sample changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// The level changed.
    Level(Step),
    /// A strong load with a sharp edge has been on for [`HEATER_S`].
    HeaterOn(Heater),
    /// It went off, or a far stronger load came on, so that it was no heater.
    HeaterOff {
        /// The heater, and since when it had been on.
        heater: Heater,
        /// First sample off its level, in seconds.
        at_s: f64,
    },
    /// A motor turns and pauses, three times within a minute: since this second.
    Reversing(f64),
    /// It does so no more, since this second.
    Still(f64),
}

/// What is on, as of the last sample but one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Now {
    /// Not known yet.
    Unknown,
    /// Nothing but electronics, since this second.
    Nothing {
        /// Since when, in seconds.
        since_s: f64,
        /// What is drawn, W.
        power_w: f64,
    },
    /// A load that power alone does not name.
    Load {
        /// Since when at this level, in seconds.
        since_s: f64,
        /// What is drawn, W.
        power_w: f64,
    },
    /// A motor that turns and pauses.
    Reversing {
        /// First turn, in seconds.
        since_s: f64,
        /// Turns so far.
        turns: u32,
    },
    /// A heater.
    Heater {
        /// The heater.
        heater: Heater,
        /// A motor turns and pauses beside it.
        reversing: bool,
    },
}

/// Follows one socket.
#[derive(Debug, Clone, Default)]
pub struct Live {
    level: Level,
    since_s: f64,
    strong: Option<Strong>,
    /// Watts of the strongest heater since nothing ran for long.
    strongest_w: f64,
    /// Last second with a load.
    loaded_s: f64,
    turns: Turns,
    /// Calmed samples of the last half minute.
    recent: VecDeque<(f64, f64)>,
}

/// A strong load, announced or not yet.
#[derive(Debug, Clone, Copy)]
struct Strong {
    since_s: f64,
    /// Level before, and what ran beside it then at the least.
    before_w: f64,
    least_before_w: f64,
    rise_w: f64,
    announced: bool,
}

impl Live {
    /// Takes a sample and says what it changed. Samples that are not finite, or older than the one before, are left out.
    pub fn push(&mut self, time_s: f64, power_w: f64) -> Vec<Event> {
        let newest = self.recent.back().map_or(f64::NEG_INFINITY, |r| r.0);
        if !time_s.is_finite() || !power_w.is_finite() || time_s < newest {
            return Vec::new();
        }
        let Some((calm, step)) = self.level.push(time_s, power_w) else {
            self.since_s = time_s;
            return Vec::new();
        };
        self.keep(calm);
        if calm.1 > IDLE_W {
            self.loaded_s = calm.0;
        } else if calm.0 - self.loaded_s > QUIET_S {
            self.strongest_w = 0.0;
        }
        let mut events = Vec::new();
        if let Some(step) = step {
            self.since_s = step.at_s;
            events.push(Event::Level(step));
            events.extend(self.strong_load(&step));
            events.extend(self.turns.step(&step).map(Event::Reversing));
        }
        events.extend(self.turns.pass(calm.0).map(Event::Still));
        events.extend(self.announce(calm.0));
        events
    }

    /// What is on.
    pub fn now(&self) -> Now {
        let Some(power_w) = self.level.watts() else { return Now::Unknown };
        let turning = self.turns.turning();
        if let Some(strong) = self.strong.filter(|s| s.announced) {
            return Now::Heater { heater: self.heater(&strong, f64::INFINITY), reversing: turning.is_some() };
        }
        if let Some((since_s, turns)) = turning {
            return Now::Reversing { since_s, turns };
        }
        let since_s = self.since_s;
        if power_w <= IDLE_W { Now::Nothing { since_s, power_w } } else { Now::Load { since_s, power_w } }
    }

    fn keep(&mut self, calm: (f64, f64)) {
        self.recent.push_back(calm);
        while self.recent.len() > KEPT || self.recent.front().is_some_and(|r| calm.0 - r.0 > KEPT_S) {
            self.recent.pop_front();
        }
    }

    fn strong_load(&mut self, step: &Step) -> Option<Event> {
        let rise_w = step.to_w - step.from_w;
        let (mut ended, from_w) = (None, step.from_w);
        if let Some(strong) = self.strong.take_if(|s| step.sharp && rise_w > FAR_STRONGER * s.rise_w) {
            // The far stronger load is the heater, the one before was none.
            let heater = self.heater(&strong, step.at_s);
            ended = strong.announced.then_some(Event::HeaterOff { heater, at_s: step.at_s });
        } else if let Some(strong) = &mut self.strong {
            strong.rise_w = strong.rise_w.max(step.to_w - strong.before_w);
            if step.to_w >= strong.before_w + OFF * strong.rise_w {
                return None;
            }
            let strong = self.strong.take()?;
            let heater = self.heater(&strong, step.at_s);
            if strong.announced {
                self.strongest_w = self.strongest_w.max(heater.power_w);
            }
            return strong.announced.then_some(Event::HeaterOff { heater, at_s: step.at_s });
        }
        if step.sharp && rise_w >= HEATER_W.max(OF_STRONGEST * self.strongest_w) {
            let least_before_w = self.low(f64::NEG_INFINITY, step.at_s).unwrap_or(from_w).min(from_w);
            self.strong = Some(Strong {
                since_s: step.at_s,
                before_w: from_w,
                least_before_w,
                rise_w,
                announced: false,
            });
        }
        ended
    }

    fn announce(&mut self, now_s: f64) -> Option<Event> {
        let strong = self.strong.as_mut().filter(|s| !s.announced && now_s - s.since_s >= HEATER_S)?;
        strong.announced = true;
        let strong = *strong;
        Some(Event::HeaterOn(self.heater(&strong, f64::INFINITY)))
    }

    fn heater(&self, strong: &Strong, until_s: f64) -> Heater {
        let turning = self.turns.turning().is_some();
        let before_w = if turning { strong.least_before_w } else { strong.before_w };
        let on_w = if turning { self.low(strong.since_s, until_s) } else { None };
        let power_w =
            on_w.or_else(|| self.middle(strong.since_s, until_s)).unwrap_or(strong.rise_w + before_w);
        Heater { since_s: strong.since_s, power_w: power_w - before_w }
    }

    fn low(&self, from_s: f64, until_s: f64) -> Option<f64> {
        self.share(from_s, until_s, LOW)
    }

    fn middle(&self, from_s: f64, until_s: f64) -> Option<f64> {
        self.share(from_s, until_s, 0.5)
    }

    fn share(&self, from_s: f64, until_s: f64, share: f64) -> Option<f64> {
        let within = self.recent.iter().filter(|r| r.0 >= from_s && r.0 < until_s);
        let watts: Vec<f64> = within.map(|r| r.1).collect();
        (!watts.is_empty()).then(|| quantile(&watts, share))
    }
}
