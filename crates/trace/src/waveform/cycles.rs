//! Where the mains cycles begin.

/// How far past zero the voltage must go, against its RMS, before the next passage counts: over noise and the
/// wiggles of harmonics near zero, under any mains peak.
const HYSTERESIS: f64 = 0.3;

/// The moments at which the voltage rises through zero, in samples and parts of one, each the last passage before it
/// leaves the band around zero upwards.
pub(super) fn starts(voltage: &[f64]) -> Vec<f64> {
    let mean_square = voltage.iter().map(|v| v * v).sum::<f64>() / voltage.len().max(1) as f64;
    let band = HYSTERESIS * mean_square.sqrt();
    let mut starts = Vec::new();
    let mut was_low = false;
    let mut passage = None;
    for (at, pair) in voltage.windows(2).enumerate() {
        if pair[0] < 0.0 && pair[1] >= 0.0 {
            passage = Some(at as f64 - pair[0] / (pair[1] - pair[0]));
        }
        if pair[1] < -band {
            was_low = true;
        } else if pair[1] > band && was_low {
            starts.extend(passage);
            was_low = false;
        }
    }
    starts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passages_of_a_noisy_sine_are_counted_once() {
        let wave: Vec<f64> = (0..1000)
            .map(|k| {
                (std::f64::consts::TAU * f64::from(k) / 100.0).sin() + if k % 2 == 0 { 0.09 } else { -0.09 }
            })
            .collect();
        let found = starts(&wave);
        assert_eq!(found.len(), 9);
        assert!(
            found.iter().enumerate().all(|(n, at)| (at - 100.0 * (n + 1) as f64).abs() < 3.0),
            "{found:?}"
        );
    }

    #[test]
    fn silence_has_none() {
        assert!(starts(&[]).is_empty());
        assert!(starts(&[0.0; 100]).is_empty());
    }
}
