//! The circumstances of a test: supply, water, surroundings, and the meter at the plug.

/// What a plug-in meter adds to what it measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meter {
    /// Limit of error in proportion to the reading.
    pub relative: f64,
    /// Limit of error beside that, W.
    pub absolute_w: f64,
}

impl Default for Meter {
    /// ±1 % ± 1 W: the middle of what plug-in meters state (common practice, no source).
    fn default() -> Self {
        Meter { relative: 0.01, absolute_w: 1.0 }
    }
}

impl Meter {
    /// Standard uncertainty of a power reading, W; limits are taken rectangular (JCGM 100, 4.3.7).
    pub fn u_w(&self, power_w: f64) -> f64 {
        (self.relative * power_w).hypot(self.absolute_w) / 3f64.sqrt()
    }
}

/// The circumstances of a test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Supply under load, V.
    pub supply_v: f64,
    /// Its standard uncertainty, V.
    pub supply_u_v: f64,
    /// Water in the machine at the start, l.
    pub water_l: f64,
    /// Temperature of water, parts and room at the start, °C.
    pub ambient_c: f64,
    /// Flows of water in and out against the file's, as a share: tap, hoses, how high they lie.
    pub flows: f64,
    /// The meter.
    pub meter: Meter,
}

impl Conditions {
    /// A supply that was read off a meter, good to half a per cent; no water; 20 °C.
    pub fn at(supply_v: f64) -> Conditions {
        Conditions {
            supply_v,
            supply_u_v: 0.005 * supply_v / 3f64.sqrt(),
            water_l: 0.0,
            ambient_c: 20.0,
            flows: 1.0,
            meter: Meter::default(),
        }
    }

    /// A supply that nobody measured: rated voltage within ±10 % (EN 50160, 230 V ± 10 % for 95 % of a week), rectangular.
    pub fn unmeasured(rated_v: f64) -> Conditions {
        Conditions { supply_u_v: 0.1 * rated_v / 3f64.sqrt(), ..Conditions::at(rated_v) }
    }
}
