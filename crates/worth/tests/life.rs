//! Weibull and annuity arithmetic against scipy and mpmath (`reference/life.json`, made by `reference/life.py`).
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use serde_json::Value;
use worth::Weibull;

fn near(found: f64, wanted: &Value, relative: f64, what: &str) {
    let wanted = wanted.as_f64().unwrap();
    assert!((found - wanted).abs() <= relative * wanted.abs().max(1e-12), "{what}: {found} against {wanted}");
}

#[test]
fn lives_and_annuities_agree_with_scipy() {
    let data: Value = serde_json::from_str(include_str!("reference/life.json")).unwrap();
    let rows = data["rows"].as_array().unwrap();
    assert!(rows.len() > 80);
    for row in rows {
        let f = |key: &str| row[key].as_f64().unwrap();
        let (shape, scale, age) = (f("shape"), f("scale"), f("age"));
        let life = Weibull::new(shape, scale).unwrap();
        let what = |key: &str| format!("{key} of shape {shape}, scale {scale} at {age}");
        near(life.mean(), &row["mean"], 1e-12, &what("mean"));
        if f("survival") > 1e-290 {
            near(life.survival(age), &row["survival"], 1e-9, &what("survival"));
        }
        near(life.survives(age, 2.0), &row["survives_2"], 1e-10, &what("survives_2"));
        near(life.mean_residual(age), &row["mean_residual"], 1e-10, &what("mean_residual"));
        near(life.median_residual(age), &row["median_residual"], 1e-9, &what("median_residual"));
        for (r, wanted) in row["annuity"].as_object().unwrap() {
            near(life.annuity(age, r.parse().unwrap()), wanted, 1e-10, &what(&format!("annuity at {r}")));
        }
    }
}
