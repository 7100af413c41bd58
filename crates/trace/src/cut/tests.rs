#![allow(clippy::unwrap_used, reason = "a test")]
use super::*;
use proptest::prelude::*;

/// The same optimum by trying every last segment: O(n²) segments, each priced afresh.
fn slow(series: &[f64], charge: Charge) -> f64 {
    let mut best = vec![-charge.penalty];
    for end in 1..=series.len() {
        let cheapest =
            (0..end).map(|start| best[start] + charge.penalty + fit(&series[start..end], charge.cap).1);
        best.push(cheapest.fold(f64::INFINITY, f64::min));
    }
    best[series.len()]
}

fn series() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec((0_u8..4, -20_i32..20, 1_usize..8), 1..12).prop_map(|runs| {
        let mut out = Vec::new();
        for (level, wobble, length) in runs {
            for k in 0..length {
                out.push(f64::from(level) * 60.0 + f64::from(wobble) * (k % 3) as f64 * 0.5);
            }
        }
        out
    })
}

proptest! {
    #[test]
    fn least_squares_is_the_slow_optimum(series in series(), penalty in 0.0..5000.0) {
        let charge = Charge::least_squares(penalty);
        let (fast, slow) = (cut(&series, charge).cost, slow(&series, charge));
        prop_assert!((fast - slow).abs() <= 1e-9 * slow.abs().max(1.0), "{fast} {slow}");
    }

    #[test]
    fn capped_is_the_slow_optimum(series in series(), penalty in 1.0..5000.0, cap in 1.0..80.0) {
        let charge = Charge { penalty, cap };
        let (fast, slow) = (cut(&series, charge).cost, slow(&series, charge));
        prop_assert!((fast - slow).abs() <= 1e-9 * slow.abs().max(1.0), "{fast} {slow}");
    }

    #[test]
    fn any_numbers_are_cut(series in prop::collection::vec(any::<f64>(), 0..60), penalty in any::<f64>(), cap in any::<f64>()) {
        let cut = cut(&series, Charge { penalty, cap });
        prop_assert_eq!(cut.ends.last().copied().unwrap_or(0), series.len());
    }
}

#[test]
fn a_spike_makes_no_segment_when_capped() {
    let mut series: Vec<f64> = (0..200).map(|i| 100.0 + f64::from(i % 3)).collect();
    series[90] = 2800.0;
    assert_eq!(cut(&series, Charge::of(&series)).ends, [200]);
    assert_eq!(cut(&series, Charge::least_squares(50.0)).ends, [90, 91, 200]);
}

#[test]
fn a_level_series_is_one_segment() {
    assert_eq!(cut(&[7.0; 50], Charge::of(&[7.0; 50])).ends, [50]);
    assert_eq!(cut(&[], Charge::least_squares(1.0)).ends, Vec::<usize>::new());
}

/// The cheapest cut into levels and ramps by trying every last segment of both shapes, each priced afresh.
fn slow_with_ramps(at: &[f64], series: &[f64], charge: Charge, surcharge: f64) -> f64 {
    let stray = ramps::strays(series, charge.cap);
    let mut best = vec![-charge.penalty];
    for end in 1..=series.len() {
        let mut cheapest = f64::INFINITY;
        for start in 0..end {
            let level = fit(&series[start..end], charge.cap).1;
            let line =
                ramps::fit_line(&at[start..end], &series[start..end], &stray[start..end], charge.cap).2;
            cheapest = cheapest.min(best[start] + charge.penalty + level.min(line + surcharge));
        }
        best.push(cheapest);
    }
    best[series.len()]
}

/// Levels, ramps and single samples gone wrong, on a time axis with repeated and missing seconds.
fn sloping() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let stretch = (0_u8..4, -30_i32..30, -20_i32..20, 1_usize..14, prop::bool::weighted(0.2));
    prop::collection::vec(stretch, 1..8).prop_map(|stretches| {
        let (mut at, mut out, mut now) = (Vec::new(), Vec::new(), 0.0);
        for (level, slope, wobble, length, spike) in stretches {
            for k in 0..length {
                let slope = if level == 3 { 0.0 } else { f64::from(slope) };
                let y = f64::from(level) * 60.0 + slope * k as f64 + f64::from(wobble) * (k % 3) as f64 * 0.3;
                out.push(if spike && k == length / 2 { y + 900.0 } else { y });
                at.push(now);
                now += [1.0, 1.0, 0.0, 2.5, 1.0, 4.0][(k * 7 + length) % 6];
            }
        }
        (at, out)
    })
}

proptest! {
    #[test]
    fn levels_and_ramps_are_the_slow_optimum(
        (at, series) in sloping(), penalty in 1.0..5000.0, cap in 1.0..200.0, surcharge in 0.0..5000.0, capped: bool
    ) {
        let charge = Charge { penalty, cap: if capped { cap } else { f64::INFINITY } };
        let found = cut_ramps(&at, &series, charge, surcharge);
        let slow = slow_with_ramps(&at, &series, charge, surcharge);
        prop_assert!((found.cost - slow).abs() <= 1e-9 * slow.abs().max(1.0), "{} {slow}", found.cost);
        prop_assert_eq!(found.segments[0].start, 0);
        prop_assert_eq!(found.segments.last().unwrap().end, series.len());
        prop_assert!(found.segments.windows(2).all(|w| w[0].end == w[1].start));
    }

    #[test]
    fn without_ramps_it_is_the_cut_into_levels((at, series) in sloping(), penalty in 1.0..5000.0, cap in 1.0..200.0) {
        let charge = Charge { penalty, cap };
        let (levels, ramps) = (cut(&series, charge), cut_ramps(&at, &series, charge, f64::INFINITY));
        prop_assert_eq!(levels.cost, ramps.cost);
        prop_assert_eq!(levels.ends, ramps.segments.iter().map(|s| s.end).collect::<Vec<_>>());
    }

    #[test]
    fn any_numbers_are_cut_into_levels_and_ramps(
        rows in prop::collection::vec((any::<f64>(), any::<f64>()), 0..60), penalty in any::<f64>(), cap in any::<f64>(),
        surcharge in any::<f64>()
    ) {
        let (at, series): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
        let found = cut_ramps(&at, &series, Charge { penalty, cap }, surcharge);
        prop_assert_eq!(found.segments.last().map_or(0, |s| s.end), series.len());
    }
}

#[test]
fn a_run_up_is_one_ramp_and_a_spike_breaks_neither() {
    let wobble = |i: usize| [0.0, 2.0, -1.0, 1.0, -2.0][i % 5];
    let mut series: Vec<f64> = (0..60).map(|i| 80.0 + wobble(i)).collect();
    series.extend((0..20).map(|i| 100.0 + 10.0 * i as f64 + wobble(i)));
    series.extend((0..60).map(|i| 318.0 + wobble(i)));
    (series[30], series[69]) = (2000.0, 0.0);
    let at: Vec<f64> = (0..series.len()).map(|i| i as f64).collect();
    let charge = Charge::of(&series);
    let found = cut_ramps(&at, &series, charge, charge.penalty).segments;
    let shapes: Vec<_> = found.iter().map(|s| (s.start, s.end, s.shape)).collect();
    assert_eq!(shapes, [(0, 60, Shape::Level), (60, 80, Shape::Ramp), (80, 140, Shape::Level)]);
    assert!((found[1].from - 100.0).abs() < 2.0 && (found[1].to - 290.0).abs() < 2.0, "{found:?}");
}

/// A meter that wavers between two codes, a reversing drum, and one whose readings lag: codes of 2.13 W.
#[test]
fn flicker_makes_no_segment_and_turns_of_a_drum_each_one() {
    let flicker = |i: usize| f64::from((i as u32).wrapping_mul(2_654_435_761) >> 30 == 0) * 2.13;
    let level: Vec<f64> = (0..4000).map(|i| 19.17 + flicker(i)).collect();
    let at: Vec<f64> = (0..4000).map(f64::from).collect();
    let charge = Charge::of(&level);
    assert_eq!(cut(&level, charge).ends, [4000]);
    assert_eq!(cut_ramps(&at, &level, charge, charge.penalty).segments.len(), 1);
    for on in [3, 8, 15] {
        let drum: Vec<f64> =
            (0..40 * on).map(|i| flicker(i) + if i / on % 2 == 0 { 4.26 } else { 161.88 }).collect();
        let at: Vec<f64> = (0..drum.len()).map(|i| i as f64).collect();
        let charge = Charge::of(&drum);
        let segments = cut_ramps(&at, &drum, charge, charge.penalty).segments;
        assert_eq!(segments.len(), 40, "{on} s");
        assert!(segments.iter().all(|s| s.shape == Shape::Level && s.end - s.start == on), "{on} s");
    }
}
