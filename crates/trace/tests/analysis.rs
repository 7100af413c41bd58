#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! The whole of an analysis hangs together, whatever the samples.

use proptest::prelude::*;
use trace::Sample;
use trace::analysis::{Analyser, analyse};

/// Steps in time with gaps, powers and volts of a socket with trouble.
fn samples() -> impl Strategy<Value = Vec<Sample>> {
    let power_w = prop::sample::select(vec![0.0, 0.0, 2.0, 5.0, 150.0, 180.0, 700.0, 2000.0, 2150.0, -3.0]);
    let volts =
        prop::option::weighted(0.8, prop::sample::select(vec![230.0, 231.0, 228.0, 200.0, 150.0, 0.0]));
    let stretch =
        (power_w, volts, 1_usize..120, prop::sample::select(vec![0.1, 1.0, 1.0, 2.0, 8.0]), 0_usize..12);
    prop::collection::vec(stretch, 0..30).prop_map(|stretches| {
        let (mut out, mut at_s) = (Vec::new(), 0.0);
        for (power_w, voltage_v, count, step_s, gap) in stretches {
            at_s += if gap == 0 {
                1000.0
            } else if gap == 1 {
                40.0
            } else {
                0.0
            };
            for k in 0..count {
                let power_w = power_w + if power_w > 0.0 { 0.3 * (k % 3) as f64 } else { 0.0 };
                out.push(Sample { voltage_v, ..Sample::new(at_s, power_w) });
                at_s += step_s;
            }
        }
        out
    })
}

proptest! {
    #[test]
    fn parts_follow_each_other_and_hold_all_gaps(samples in samples()) {
        let found = analyse(&samples, None);
        let parts: Vec<_> = found.parts().collect();
        prop_assert!(parts.iter().all(|p| p.start_s < p.end_s), "{parts:?}");
        prop_assert!(parts.windows(2).all(|p| p[0].end_s <= p[1].start_s), "{parts:?}");
        let gaps: Vec<_> = parts.iter().filter(|p| p.state.is_none()).map(|p| (p.start_s, p.end_s)).collect();
        prop_assert_eq!(gaps, found.gaps);
    }

    #[test]
    fn runs_as_they_end_are_the_runs_of_the_whole(samples in samples()) {
        let mut analyser = Analyser::new(None);
        let mut ended = Vec::new();
        for sample in &samples {
            ended.extend(analyser.push(*sample).cloned());
        }
        let (whole, _) = analyser.finish();
        prop_assert_eq!(&ended[..], &whole.runs[..ended.len()]);
        prop_assert_eq!(whole, analyse(&samples, None));
    }

    #[test]
    fn trouble_lies_within_the_recording_and_names_a_run(samples in samples()) {
        let found = analyse(&samples, None);
        let (from_s, to_s) = found.span_s.unwrap_or((0.0, 0.0));
        for d in &found.disturbances {
            prop_assert!(from_s <= d.start_s && d.start_s <= d.end_s && d.end_s <= to_s, "{d:?}");
            prop_assert!(d.run.is_none_or(|run| run < found.runs.len()), "{d:?}");
            prop_assert!(d.run.is_some() || d.ended.is_empty(), "{d:?}");
        }
        prop_assert_eq!(found.disturbances_count, found.disturbances.len() as u64);
        for read in &found.runs {
            prop_assert_eq!(read.doubts.len(), read.run.loads.heater_on.len());
        }
    }
}
