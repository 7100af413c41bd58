//! Samples that are there already, given as a meter would give them.

use super::{Ear, Taken, hand_on};
use crate::MeterError;
use crate::measured::Gathered;
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
        hand_on(ear, raw(sample), self.taken(sample)).await
    }

    fn taken(&self, sample: &Sample) -> Result<Taken, MeterError> {
        let after = SignedDuration::from_millis((sample.time_s * 1000.0).round() as i64);
        let mut gathered = Gathered::of_sample(sample);
        gathered
            .stamp(self.origin.checked_add(after).map_err(|_| format!("`{} s` is no time", sample.time_s)));
        gathered.end()
    }
}

fn raw(sample: &Sample) -> String {
    let mut raw = format!("{:.1} s  {:.1} W", sample.time_s, sample.power_w);
    for (value, digits, unit) in
        [(sample.voltage_v, 1, "V"), (sample.current_a, 3, "A"), (sample.power_factor, 2, "power factor")]
    {
        if let Some(value) = value {
            raw.push_str(&format!("  {value:.digits$} {unit}"));
        }
    }
    raw
}
