//! Where the tests of the kinds start from.

use super::Situation;

impl Situation {
    /// A machine at rest on 230 V, 50 Hz: dry, 20 °C, nothing driven.
    pub(crate) const fn at_rest() -> Situation {
        Situation {
            rated_v: 230.0,
            hz: 50.0,
            driven: false,
            wanted_rpm: 0.0,
            moving: false,
            locked: false,
            level_l: 0.0,
            temperature_c: 20.0,
            speed_rpm: 0.0,
            demand_w: 0.0,
            demand_u_w: 0.0,
            drag: 1.0,
        }
    }
}
