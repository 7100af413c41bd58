//! Physics: the published formulas that the part kinds of a machine are built from.
//!
//! Pure functions. Every argument and result carries its unit in its name, and every doc gives the formula in the
//! symbols of its source, what they mean, the range, the errors and the source itself.
//!
//! One file a subject: [`ohm`], [`heater`], [`sensors`], [`capacitor`], [`supply`], [`water`], [`pump`], [`motor`],
//! [`drum`], [`lock`], [`dryer`].
//!
//! Two kinds of function:
//! * a **law** (Ohm, Joule, kinematics) returns a plain `f64`. It holds for any number and follows the rules of
//!   floating point: nothing divided by nothing is NaN, and NaN in gives NaN out;
//! * a **curve** whose source states a range (a sensor, a table, a limit) returns [`OutOfRange`] outside it.
//!
//! Not here: tolerances and uncertainty (`quantity`), networks (`circuit`), power of sampled waveforms (`trace`).
//!
//! Always true: no dependencies, no I/O, no clock, no global state; no argument can cause a panic
//! (`tests/properties.rs`); every value of `tests/reference/check-values.toml` is computed here (`tests/published`).

pub mod capacitor;
pub mod drum;
pub mod dryer;
pub mod heater;
pub mod lock;
pub mod motor;
pub mod ohm;
mod points;
pub mod pump;
mod range;
pub mod sensors;
pub mod supply;
pub mod water;

pub use range::OutOfRange;

/// Standard gravity g_n, m/s². Source: 3rd CGPM (1901), exact by definition.
pub const STANDARD_GRAVITY_M_PER_S2: f64 = 9.806_65;

/// 0 °C in kelvin. Source: SI Brochure, exact by definition.
pub const ZERO_CELSIUS_KELVIN: f64 = 273.15;
