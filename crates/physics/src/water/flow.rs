//! Running water: filling, draining, the flow meter, and the hose that empties the tub by itself.

use crate::STANDARD_GRAVITY_M_PER_S2;

/// Time to fill or drain a volume at a steady flow.
///
/// ```text
/// t = V/Q
/// ```
/// `V` in litres, `Q` in l/min, result in s. No flow gives an infinite time.
pub fn time_to_move_s(volume_l: f64, flow_l_per_min: f64) -> f64 {
    60.0 * volume_l / flow_l_per_min
}

/// Flow from the frequency of a turbine flow meter.
///
/// ```text
/// Q = 60·f/K
/// ```
/// | symbol | argument           | meaning                         | unit  |
/// |--------|--------------------|---------------------------------|-------|
/// | f      | `frequency_hz`     | pulses a second                 | Hz    |
/// | K      | `pulses_per_l`     | pulses a litre, from the sheet  | 1/l   |
///
/// Result in l/min. K = 450 means f = 7.5 Q; some pages call the 7.5 "pulses per litre", which is wrong by 60.
///
/// Source: public data of Hall turbine meters.
pub fn flow_from_frequency_l_per_min(frequency_hz: f64, pulses_per_l: f64) -> f64 {
    60.0 * frequency_hz / pulses_per_l
}

/// Pulses a flow meter gives for a volume, `N = K·V`; symbols as [`flow_from_frequency_l_per_min`], `V` in litres.
pub fn pulses(volume_l: f64, pulses_per_l: f64) -> f64 {
    pulses_per_l * volume_l
}

/// Speed at which water leaves a hose end below the level of the tub, without friction.
///
/// ```text
/// v = √(2·g_n·h)
/// ```
/// `h`, in m, is how far the hose end lies below the level; result in m/s. A hose end above the level (`h ≤ 0`) runs
/// at 0 m/s: there is no siphon.
///
/// Source: Torricelli's law.
pub fn siphon_velocity_m_per_s(head_m: f64) -> f64 {
    // Not `max(0.0)`, which would turn NaN into a healthy hose.
    if head_m <= 0.0 { 0.0 } else { (2.0 * STANDARD_GRAVITY_M_PER_S2 * head_m).sqrt() }
}

/// Flow of a siphoning hose, l/min.
///
/// ```text
/// Q = c·A·v      A = π·d²/4      v = √(2·g_n·h)
/// ```
/// | symbol | argument      | meaning                                          | unit |
/// |--------|---------------|--------------------------------------------------|------|
/// | c      | `coefficient` | all losses together; 0.5 is assumed for a hose   | 1    |
/// | d      | `bore_m`      | inner diameter                                   | m    |
/// | h      | `head_m`      | hose end below the level, as [`siphon_velocity_m_per_s`] | m |
///
/// Source: Torricelli's law with an overall coefficient.
pub fn siphon_flow_l_per_min(coefficient: f64, bore_m: f64, head_m: f64) -> f64 {
    let area_m2 = std::f64::consts::PI * bore_m * bore_m / 4.0;
    coefficient * area_m2 * siphon_velocity_m_per_s(head_m) * 60_000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hose_hung_high_does_not_run() {
        assert_eq!(siphon_flow_l_per_min(0.5, 0.018, -0.2), 0.0);
        assert!(siphon_velocity_m_per_s(f64::NAN).is_nan());
    }
}
