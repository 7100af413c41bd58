//! A recording that another program is writing: rows are taken as they are added.

mod follow;

use super::{Ear, Taken, hand_on, unheard};
use crate::MeterError;
use crate::config::{GrowingFile, SocketConfig};
use crate::measured::Gathered;
use follow::{Follower, Row};
use std::time::Duration;
use tokio::task::spawn_blocking;
use tokio::time::sleep;

/// The file is looked at so often, within these limits.
const LOOK_EVERY: (Duration, Duration) = (Duration::from_millis(50), Duration::from_millis(500));

pub(crate) async fn session(socket: &SocketConfig, growing: &GrowingFile, ear: &Ear) -> MeterError {
    let look_every = (socket.every / 4).clamp(LOOK_EVERY.0, LOOK_EVERY.1);
    let mut follower = Follower::new(growing);
    // What is wrong with the whole file is told once, not at every look.
    let mut told: Option<MeterError> = None;
    loop {
        // The follower goes along and comes back: a file is read where it may block.
        let Ok((back, rows)) = spawn_blocking(move || follower.look()).await else {
            return MeterError::new("the file could not be read", "try `wattmend trace` on it");
        };
        follower = back;
        for row in rows {
            let (raw, read) = match row {
                Row::Sample { line, sample, unix_s } => {
                    told = None;
                    (line, taken(&sample, unix_s))
                }
                Row::Refused { line, why } => {
                    if line.is_empty() && told.as_ref() == Some(&why) {
                        continue;
                    }
                    told = Some(why.clone());
                    (line, Err(why))
                }
            };
            if !hand_on(ear, raw, read).await {
                return unheard();
            }
        }
        sleep(look_every).await;
    }
}

fn taken(sample: &trace::Sample, unix_s: Option<f64>) -> Result<Taken, MeterError> {
    let mut gathered = Gathered::of_sample(sample);
    if let Some(unix_s) = unix_s {
        gathered.stamp(super::text::unix_s(unix_s));
    }
    gathered.end()
}
