//! What motors have in common: how far the watts of a good one lie from what the file says.

use super::{Dimension, Param, Params, Takes};

/// Parameter `within`: bearings, grease, belt tension and the day's temperature move a motor's watts more than its
/// windings do. ±12 % is common practice, no source.
pub(super) const WITHIN: Param = Param {
    name: "within",
    takes: Takes::Quantity(Dimension::Ratio),
    default: Some("12 %"),
    must: false,
    about: "how far the watts of a good one may lie from those stated either way, where they are stated without \
        tolerance (12 % is common practice, no source)",
};

/// Limit either way, in proportion, of watts for which the file states no tolerance.
pub(super) fn within(params: &Params) -> f64 {
    params.nominal("within").clamp(0.0, 1.0)
}

/// Relative standard uncertainty of the watts that this parameter states: the file's tolerance, else [`within`],
/// rectangular (JCGM 100, 4.3.7).
pub(super) fn u_rel(params: &Params, watts: &str) -> f64 {
    let stated = params.u_rel(watts);
    if stated > 0.0 { stated } else { within(params) / 3f64.sqrt() }
}
