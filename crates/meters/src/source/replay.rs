//! A recording, played as if its meter were there.

use super::played::Player;
use super::text::unix_s;
use super::{Ear, Heard, unheard};
use crate::MeterError;
use crate::config::Replay;
use jiff::Timestamp;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;
use std::time::Duration;
use tokio::time::sleep_until;
use trace::Trace;
use trace::read::{Options, ReadError, Reader};

/// So many samples of a recording are played: two weeks of one a second.
const MOST_SAMPLES: usize = 1_250_000;

pub(crate) async fn session(replay: &Replay, ear: &Ear) -> MeterError {
    let path = replay.file.clone();
    let read = tokio::task::spawn_blocking(move || load(&path)).await;
    let (trace, step_s) = match read {
        Ok(Ok(read)) => read,
        Ok(Err(error)) => return error,
        Err(_) => return MeterError::new("the recording could not be read", "try `wattmend trace` on it"),
    };
    let first_s = trace.samples.first().map_or(0.0, |s| s.time_s);
    let last_s = trace.samples.last().map_or(0.0, |s| s.time_s);
    let pace = Duration::try_from_secs_f64(step_s / replay.speed).unwrap_or_default();
    if ear.send(Heard::Pace(pace)).await.is_err() {
        return unheard();
    }
    loop {
        let origin = trace.start_unix_s.and_then(|s| unix_s(s + first_s).ok()).unwrap_or_else(Timestamp::now);
        let player = Player::start(replay.speed, origin);
        for sample in &trace.samples {
            let sample = trace::Sample { time_s: sample.time_s - first_s, ..*sample };
            if !player.give(&sample, ear).await {
                return unheard();
            }
        }
        if !replay.again {
            // Silence: the meter is lost, as it would be where somebody pulled it out.
            std::future::pending::<()>().await;
        }
        sleep_until(player.due(last_s - first_s + step_s.max(0.1))).await;
    }
}

/// The samples, and the usual time between them.
fn load(path: &Path) -> Result<(Trace, f64), MeterError> {
    let file = File::open(path).map_err(|e| {
        MeterError::new(format!("{} cannot be opened: {e}", path.display()), "name a recording with `file`")
    })?;
    let refused = |e: ReadError| MeterError::new(format!("{}: {}", path.display(), e.what), e.remedy);
    let mut reader = Reader::new(BufReader::new(file), &Options::default()).map_err(refused)?;
    let samples = reader.by_ref().take(MOST_SAMPLES + 1).collect::<Result<Vec<_>, _>>().map_err(refused)?;
    if samples.len() > MOST_SAMPLES {
        return Err(MeterError::new(
            format!("{} has more than {MOST_SAMPLES} samples", path.display()),
            "play a shorter recording",
        ));
    }
    let summary = reader.summary();
    Ok((Trace { samples, start_unix_s: summary.start_unix_s }, summary.step_s))
}
