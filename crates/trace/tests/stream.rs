#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! The streaming form gives what the batch form gives, and neither can be made to panic.

use proptest::prelude::*;
use trace::loads::{Change, Run, Stream, loads, runs};

fn streamed(time_s: &[f64], power_w: &[f64]) -> Vec<Run> {
    let mut stream = Stream::new(Some(230.0));
    let mut found = Vec::new();
    for (&t, &p) in time_s.iter().zip(power_w) {
        if let Some(Change::Ended(run)) = stream.push(t, p) {
            found.push(*run);
        }
    }
    found.extend(stream.finish());
    found
}

/// Stretches of power with gaps, idle hours, glitches and a drum that turns.
fn recording() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let stretch = (0_usize..7, 1_usize..90, 1_usize..12, prop::bool::weighted(0.1));
    prop::collection::vec(stretch, 1..40).prop_map(|stretches| {
        let levels = [0.0, 0.0, 4.0, 160.0, 320.0, 1990.0, 2150.0];
        let (mut time_s, mut power_w, mut at) = (Vec::new(), Vec::new(), 0.0);
        for (level, rows, step, gap) in stretches {
            for k in 0..rows {
                time_s.push(at);
                power_w.push(levels[level] + if level > 2 { (k % 3) as f64 * 2.0 } else { 0.0 });
                at += step as f64;
            }
            at += if gap { 1000.0 } else { 0.0 };
        }
        (time_s, power_w)
    })
}

proptest! {
    #[test]
    fn streaming_is_batch((time_s, power_w) in recording()) {
        prop_assert_eq!(streamed(&time_s, &power_w), runs(&time_s, &power_w, Some(230.0)));
    }

    #[test]
    fn streaming_is_batch_where_time_steps_back(
        (time_s, power_w) in recording(), back in prop::collection::vec((0_usize..2000, 1.0..400.0_f64), 0..6)
    ) {
        let mut time_s = time_s;
        for (from, by_s) in back {
            time_s.iter_mut().skip(from).for_each(|t| *t -= by_s);
        }
        prop_assert_eq!(streamed(&time_s, &power_w), runs(&time_s, &power_w, Some(230.0)));
    }

    #[test]
    fn a_later_start_moves_all_times((time_s, power_w) in recording()) {
        let later: Vec<f64> = time_s.iter().map(|t| t + 4096.0).collect();
        let (now, then) = (loads(&time_s, &power_w, None), loads(&later, &power_w, None));
        let spans = |l: &trace::loads::Loads, by: f64| {
            l.heater_on.iter().map(|h| (h.start_s + by, h.end_s + by)).collect::<Vec<_>>()
        };
        prop_assert_eq!(spans(&now, 4096.0), spans(&then, 0.0));
        prop_assert_eq!(now.states.len(), then.states.len());
    }

    #[test]
    fn states_follow_each_other((time_s, power_w) in recording()) {
        let found = loads(&time_s, &power_w, None).states;
        for pair in found.windows(2) {
            prop_assert_eq!(pair[0].end_s, pair[1].start_s);
        }
    }

    #[test]
    fn any_rows_are_read(rows in prop::collection::vec((any::<f64>(), any::<f64>()), 0..200)) {
        let (time_s, power_w): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
        let _ = loads(&time_s, &power_w, Some(f64::NAN));
        let _ = streamed(&time_s, &power_w);
    }
}
