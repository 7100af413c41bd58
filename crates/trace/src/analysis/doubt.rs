//! What can't be told apart about a heater interval, and why.

use crate::loads::{HeaterOn, quantile};

/// Why something about a heater interval cannot be told, or not closely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// It came on somewhere in a gap between these two samples, in seconds.
    StartInGap {
        /// Last sample before the gap.
        from_s: f64,
        /// First sample after it.
        to_s: f64,
    },
    /// It went off somewhere in a gap between these two samples, in seconds.
    EndInGap {
        /// Last sample before the gap.
        from_s: f64,
        /// First sample after it.
        to_s: f64,
    },
    /// A gap lies in it: a break of heating there would not show. In seconds.
    GapInside {
        /// Last sample before the gap.
        from_s: f64,
        /// First sample after it.
        to_s: f64,
    },
    /// It was on when the recording or the run begins, so that it may have begun before.
    OnAtStart,
    /// It was still on at the last sample.
    OnAtEnd,
    /// So few samples lie in it that its edges, which are averages over the change, are a good part of them.
    FewSamples(usize),
    /// The total changed by more or less than the heater's own watts between the samples beside an edge: another load
    /// switched there too. In watts, positive where it came on.
    Together {
        /// Time of the edge, s.
        at_s: f64,
        /// What the other load drew, W.
        other_w: f64,
    },
}

/// Up to this many samples are few.
const FEW: usize = 5;
/// Least power of another load at the edge of a heater: above what the mains moves a heater's watts by.
const OTHER_W: f64 = 40.0;
const OTHER_SHARE: f64 = 0.05;

/// What is in doubt about one heater interval, from the rows of its run and the gaps of the recording.
///
/// `beside` says from when to when no other heater interval of the run is on, in seconds.
pub(super) fn doubts(
    on: &HeaterOn,
    beside: (f64, f64),
    time_s: &[f64],
    power_w: &[f64],
    gaps: &[(f64, f64)],
) -> Vec<Doubt> {
    let mut found = Vec::new();
    let first = time_s.partition_point(|&t| t < on.start_s);
    let end = time_s.partition_point(|&t| t < on.end_s);
    if first == 0 {
        found.push(Doubt::OnAtStart);
    }
    if end + 1 >= time_s.len() && power_w.last().is_some_and(|w| *w >= 0.5 * on.power_w) {
        found.push(Doubt::OnAtEnd);
    }
    let nearby = gaps.partition_point(|g| g.1 < on.start_s);
    for &(from_s, to_s) in gaps[nearby..].iter().take_while(|g| g.0 <= on.end_s) {
        if to_s <= on.start_s {
            found.push(Doubt::StartInGap { from_s, to_s });
        } else if to_s >= on.end_s && from_s < on.end_s {
            found.push(Doubt::EndInGap { from_s, to_s });
        } else if from_s < on.end_s {
            found.push(Doubt::GapInside { from_s, to_s });
        }
    }
    let samples = end.saturating_sub(first);
    if samples <= FEW {
        found.push(Doubt::FewSamples(samples));
    }
    let at_edge = |at_s: f64| {
        found.iter().any(
            |d| matches!(d, Doubt::StartInGap { to_s, .. } | Doubt::EndInGap { to_s, .. } if *to_s == at_s),
        )
    };
    let starts_w = on.stages.first().map_or(on.power_w, |s| s.power_w);
    let ends_w = on.stages.last().map_or(on.power_w, |s| s.power_w);
    let mut together = Vec::new();
    for (at_s, row, own_w, sign) in [(on.start_s, first, starts_w, 1.0), (on.end_s, end, ends_w, -1.0)] {
        if !at_edge(at_s)
            && let Some(other_w) = other(time_s, power_w, row, sign * own_w, beside)
        {
            together.push(Doubt::Together { at_s, other_w });
        }
    }
    found.extend(together);
    found
}

/// What else the total changed by across an edge that changes it by `own_w`, where the four rows on either side of it hold
/// still. The edge itself may take some rows: a meter lags, and a row may be an average over the change.
fn other(time_s: &[f64], power_w: &[f64], row: usize, own_w: f64, free_s: (f64, f64)) -> Option<f64> {
    let before = power_w.get(row.checked_sub(5)?..row - 1)?;
    let after = power_w.get(row + 3..row + 7)?;
    // The same heater, which has just been on or comes on again, is no other load.
    if time_s[row - 5] <= free_s.0 || time_s[row + 6] >= free_s.1 {
        return None;
    }
    let other_w = quantile(after, 0.5) - quantile(before, 0.5) - own_w;
    let least_w = OTHER_W.max(OTHER_SHARE * own_w.abs());
    let spread = |rows: &[f64]| quantile(rows, 1.0) - quantile(rows, 0.0);
    let still = spread(before).max(spread(after)) <= 0.2 * other_w.abs();
    (other_w.abs() >= least_w && still).then_some(other_w)
}

/// Samples that stand alone, or two together, above half of the heater's watts and outside its intervals: how many times,
/// and the first time in seconds.
pub(super) fn lone_peaks(heater_on: &[HeaterOn], time_s: &[f64], power_w: &[f64]) -> Option<(usize, f64)> {
    let heater_w = heater_on.iter().map(|h| h.power_w).fold(0.0, f64::max);
    if heater_w <= 0.0 {
        return None;
    }
    let (mut count, mut first_s, mut since) = (0, f64::NAN, None);
    for (row, (_, watts)) in time_s.iter().zip(power_w).enumerate() {
        let high = *watts >= 0.5 * heater_w;
        match (since, high) {
            (None, true) => since = Some(row),
            (Some(from), false) => {
                since = None;
                let at_s = time_s[from];
                let inside = heater_on.iter().any(|h| (h.start_s - 5.0..=h.end_s + 5.0).contains(&at_s));
                if row - from <= 2 && from > 0 && !inside {
                    first_s = if count == 0 { at_s } else { first_s };
                    count += 1;
                }
            }
            _ => {}
        }
    }
    (count > 0).then_some((count, first_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(start_s: f64, end_s: f64) -> HeaterOn {
        HeaterOn { start_s, end_s, power_w: 2000.0, resistance_ohm: None, stages: Vec::new() }
    }

    fn seconds(n: usize) -> Vec<f64> {
        (0..n).map(|i| i as f64).collect()
    }

    const ALONE: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

    #[test]
    fn a_heater_that_comes_on_again_is_no_other_load() {
        let power = |i: usize| if (50..90).contains(&i) || i >= 93 { 2005.0 } else { 5.0 };
        let power_w: Vec<f64> = (0..120).map(power).collect();
        let found = |beside| doubts(&on(50.0, 90.0), beside, &seconds(120), &power_w, &[]);
        assert_eq!(found((f64::NEG_INFINITY, 93.0)), []);
        assert_eq!(found(ALONE).len(), 1);
    }

    #[test]
    fn a_drum_that_starts_with_the_heater_is_told() {
        let power = |i: usize| {
            if i < 50 {
                5.0
            } else if i < 70 {
                2205.0
            } else if i < 90 {
                2005.0
            } else {
                5.0
            }
        };
        let power_w: Vec<f64> = (0..120).map(power).collect();
        let found = doubts(&on(50.0, 90.0), ALONE, &seconds(120), &power_w, &[]);
        assert_eq!(found, [Doubt::Together { at_s: 50.0, other_w: 200.0 }]);
    }

    #[test]
    fn gaps_at_the_edges_and_within_are_told() {
        let time_s: Vec<f64> = seconds(400)
            .into_iter()
            .filter(|t| ![50..80, 150..170, 250..300].iter().any(|g| g.contains(&(*t as i32))))
            .collect();
        let power_w: Vec<f64> =
            time_s.iter().map(|t| if (80.0..300.0).contains(t) { 2005.0 } else { 5.0 }).collect();
        let found = doubts(
            &on(80.0, 300.0),
            ALONE,
            &time_s,
            &power_w,
            &[(49.0, 80.0), (149.0, 170.0), (249.0, 300.0)],
        );
        assert_eq!(
            found,
            [
                Doubt::StartInGap { from_s: 49.0, to_s: 80.0 },
                Doubt::GapInside { from_s: 149.0, to_s: 170.0 },
                Doubt::EndInGap { from_s: 249.0, to_s: 300.0 }
            ]
        );
    }

    #[test]
    fn a_recording_that_begins_and_ends_heating_says_so() {
        let found = doubts(&on(0.0, 3.0), ALONE, &seconds(4), &[2000.0; 4], &[]);
        assert_eq!(found, [Doubt::OnAtStart, Doubt::OnAtEnd, Doubt::FewSamples(3)]);
    }

    #[test]
    fn a_peak_of_one_sample_is_told_and_no_heater() {
        let mut power_w = vec![5.0; 100];
        power_w[40..60].fill(2005.0);
        power_w[10] = 1500.0;
        assert_eq!(lone_peaks(&[on(40.0, 60.0)], &seconds(100), &power_w), Some((1, 10.0)));
    }
}
