//! Meters that are asked: one question after the other, at an even pace.

use std::time::Duration;
use tokio::time::{Interval, MissedTickBehavior, interval};

/// A pace that is kept where the meter is fast enough, and falls back where it is not.
pub(crate) fn pace(every: Duration) -> Interval {
    let mut pace = interval(every);
    pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
    pace
}
