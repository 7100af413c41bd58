//! Standing water: pressure under it, the air bell that senses it, litres in a tub.

use super::properties::NORMAL_PRESSURE_PA;
use crate::STANDARD_GRAVITY_M_PER_S2;
use crate::range::{OutOfRange, positive, within};

/// Density by which a conventional millimetre of water is defined, kg/m³.
pub const CONVENTIONAL_DENSITY_KG_PER_M3: f64 = 1000.0;

/// Gauge pressure under a head of water.
///
/// ```text
/// p = ρ·g_n·h
/// ```
/// | symbol | argument           | meaning                                                        | unit  |
/// |--------|--------------------|----------------------------------------------------------------|-------|
/// | ρ      | `density_kg_per_m3`| [`CONVENTIONAL_DENSITY_KG_PER_M3`] for "mm H2O", else the real one | kg/m³ |
/// | h      | `head_m`           | height of the water above                                      | m     |
///
/// Source: hydrostatics; conventional millimetre of water, 9.80665 Pa.
pub fn hydrostatic_pressure_pa(density_kg_per_m3: f64, head_m: f64) -> f64 {
    density_kg_per_m3 * STANDARD_GRAVITY_M_PER_S2 * head_m
}

/// The bell at the bottom of the tub that turns a level into air pressure, with its hose and the sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirBell {
    /// A: cross-section of the bell, m².
    pub area_m2: f64,
    /// V0: air in bell, hose and sensor when the water just closes the mouth, m³.
    pub air_volume_m3: f64,
}

impl AirBell {
    /// How far the water rises inside the bell, m.
    ///
    /// ```text
    /// (p0 + ρ·g_n·(h − y))·(V0 − A·y) = p0·V0
    /// ```
    /// | symbol | argument           | meaning                        | unit  |
    /// |--------|--------------------|--------------------------------|-------|
    /// | h      | `head_m`           | water above the mouth, outside | m     |
    /// | ρ      | `density_kg_per_m3`| density of the water           | kg/m³ |
    /// | p0     | 101 325 Pa         | atmospheric pressure           | Pa    |
    ///
    /// Solved for y, the smaller root of the quadratic. Air at constant temperature, none lost.
    ///
    /// Source: Boyle's law with hydrostatics.
    ///
    /// # Errors
    /// [`OutOfRange`] if the head is below zero or any size or the density is not above zero.
    pub fn rise_m(&self, head_m: f64, density_kg_per_m3: f64) -> Result<f64, OutOfRange> {
        let head = within("head of water above the air bell", head_m, "m", 0.0, f64::MAX)?;
        let area = positive("area of the air bell", self.area_m2, "m²")?;
        let volume = positive("air in the air bell", self.air_volume_m3, "m³")?;
        let weight = hydrostatic_pressure_pa(positive("density", density_kg_per_m3, "kg/m³")?, 1.0);
        // ρg·A·y² − b·y + ρg·h·V0 = 0, and the smaller root without cancellation.
        let b = (NORMAL_PRESSURE_PA + weight * head) * area + weight * volume;
        let product = weight * head * volume;
        Ok(2.0 * product / (b + (b * b - 4.0 * weight * area * product).max(0.0).sqrt()))
    }

    /// Gauge pressure at the sensor, Pa.
    ///
    /// ```text
    /// p = ρ·g_n·(h − y)
    /// ```
    /// with y, and errors, as [`Self::rise_m`]: a little under the head outside, for the water that rose inside.
    ///
    /// # Errors
    /// As [`Self::rise_m`].
    pub fn gauge_pressure_pa(&self, head_m: f64, density_kg_per_m3: f64) -> Result<f64, OutOfRange> {
        let rise = self.rise_m(head_m, density_kg_per_m3)?;
        Ok(hydrostatic_pressure_pa(density_kg_per_m3, head_m - rise))
    }
}

/// Litres in a tub, taken as a horizontal cylinder, at a level above its lowest line.
///
/// ```text
/// V = L·(r²·acos((r − h)/r) − (r − h)·√(2·r·h − h²))
/// ```
/// | symbol | argument   | meaning                     | unit |
/// |--------|------------|-----------------------------|------|
/// | r      | `radius_m` | radius of the tub           | m    |
/// | L      | `length_m` | its depth, front to back    | m    |
/// | h      | `height_m` | water above the lowest line | m    |
///
/// Neither sump nor drum wall are counted. Source: area of a circular segment.
///
/// # Errors
/// [`OutOfRange`] for a radius not above zero, or a height outside 0 … 2 r.
pub fn cylinder_segment_l(radius_m: f64, length_m: f64, height_m: f64) -> Result<f64, OutOfRange> {
    let r = positive("radius of the tub", radius_m, "m")?;
    let h = within("height of the water in the tub", height_m, "m", 0.0, 2.0 * r)?;
    let segment_m2 = r * r * ((r - h) / r).acos() - (r - h) * (h * (2.0 * r - h)).max(0.0).sqrt();
    Ok(1000.0 * length_m * segment_m2)
}

/// Level at which a horizontal cylinder holds so many litres, m; the inverse of [`cylinder_segment_l`].
///
/// By bisection, to the last bit or two. Symbols as there.
///
/// # Errors
/// [`OutOfRange`] for a radius or length not above zero, or a volume outside 0 … π·r²·L.
pub fn cylinder_height_m(radius_m: f64, length_m: f64, volume_l: f64) -> Result<f64, OutOfRange> {
    let r = positive("radius of the tub", radius_m, "m")?;
    let length = positive("length of the tub", length_m, "m")?;
    let full_l = cylinder_segment_l(r, length, 2.0 * r)?;
    let volume = within("water in the tub", volume_l, "l", 0.0, full_l)?;
    let (mut low, mut high) = (0.0, 2.0 * r);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if cylinder_segment_l(r, length, middle)? < volume {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(f64::midpoint(low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_tub_is_a_cylinder() {
        let full = cylinder_segment_l(0.27, 0.33, 0.54).unwrap();
        assert!((full - 1000.0 * std::f64::consts::PI * 0.27 * 0.27 * 0.33).abs() < 1e-9);
        assert!((cylinder_segment_l(0.27, 0.33, 0.27).unwrap() - full / 2.0).abs() < 1e-9);
        assert_eq!(cylinder_segment_l(0.27, 0.33, 0.0), Ok(0.0));
        assert!(cylinder_segment_l(0.27, 0.33, 0.55).is_err());
        assert!(cylinder_height_m(0.27, 0.33, full + 0.1).is_err());
    }

    #[test]
    fn the_bell_obeys_boyle() {
        let bell = AirBell { area_m2: 0.0012, air_volume_m3: 0.000_106 };
        for head in [0.0, 0.05, 0.3] {
            let rise = bell.rise_m(head, 998.2).unwrap();
            let pressure = NORMAL_PRESSURE_PA + bell.gauge_pressure_pa(head, 998.2).unwrap();
            let left = pressure * (bell.air_volume_m3 - bell.area_m2 * rise);
            assert!((left - NORMAL_PRESSURE_PA * bell.air_volume_m3).abs() < 1e-9 * left, "{head} m");
        }
        assert!(bell.rise_m(-0.01, 998.2).is_err());
    }
}
