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
