//! Samples that are there already, given as a meter would give them.

use super::{Ear, Taken, hand_on};
use crate::Reading;
use jiff::{SignedDuration, Timestamp};
use std::time::Duration;
use tokio::time::{Instant, sleep_until};
use trace::Sample;

/// The longest that is waited for one sample; a damaged time stamp must not stop the clock.
const LONGEST_WAIT_S: f64 = 366.0 * 86_400.0;

/// A run of samples, played from now.
pub(crate) struct Player {
    started: Instant,
    speed: f64,
    /// The clock's reading at time 0 of the samples.
    origin: Timestamp,
}

impl Player {
    /// Time 0 is now; samples carry stamps from `origin` on.
    pub(crate) fn start(speed: f64, origin: Timestamp) -> Player {
        Player { started: Instant::now(), speed, origin }
    }

    /// Seconds of the samples' own time that have gone by.
    pub(crate) fn now_s(&self) -> f64 {
        self.started.elapsed().as_secs_f64() * self.speed
    }

    /// When a time of the samples comes.
    pub(crate) fn due(&self, time_s: f64) -> Instant {
        self.started + Duration::from_secs_f64((time_s / self.speed).clamp(0.0, LONGEST_WAIT_S))
    }

    /// Waits for the sample's time and hands it on; false where nobody listens any more.
    pub(crate) async fn give(&self, sample: &Sample, ear: &Ear) -> bool {
        sleep_until(self.due(sample.time_s)).await;
        let taken = Taken { reading: self.reading(sample), left_out: Vec::new() };
        hand_on(ear, raw(sample), Ok(taken)).await
    }

    fn reading(&self, sample: &Sample) -> Reading {
        let after = SignedDuration::from_millis((sample.time_s * 1000.0).round() as i64);
        Reading {
            stamped: self.origin.checked_add(after).ok(),
            watts: Some(sample.power_w),
            volts: sample.voltage_v,
            amps: sample.current_a,
            power_factor: sample.power_factor,
            ..Reading::empty()
        }
    }
}

fn raw(sample: &Sample) -> String {
    let mut raw = format!("{:.1} s  {:.1} W", sample.time_s, sample.power_w);
    for (value, unit) in
        [(sample.voltage_v, "V"), (sample.current_a, "A"), (sample.power_factor, "power factor")]
    {
        if let Some(value) = value {
            raw.push_str(&format!("  {value} {unit}"));
        }
    }
    raw
}
