#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! The cut's optimum against others' exact results.

use serde_json::Value;
use trace::cut::{Charge, cut, cut_ramps};

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn ends(value: &Value) -> Vec<usize> {
    value.as_array().unwrap().iter().map(|v| v.as_u64().unwrap() as usize).collect()
}

/// ruptures 1.1.10 (PyPI), exact PELT; script and results in tests/reference.
#[test]
fn least_squares_optimum_is_that_of_ruptures() {
    let stored: Value = serde_json::from_str(include_str!("reference/ruptures_l2.json")).unwrap();
    for case in stored["cases"].as_array().unwrap() {
        let found = cut(&numbers(&case["series"]), Charge::least_squares(case["penalty"].as_f64().unwrap()));
        let cost = case["cost"].as_f64().unwrap();
        assert!(
            (found.cost - cost).abs() <= 1e-9 * cost,
            "seed {}: {} is not {cost}",
            case["seed"],
            found.cost
        );
        assert_eq!(found.ends, ends(&case["ends"]), "seed {}", case["seed"]);
    }
}

/// Constructed; exact by exhaustive dynamic programming, cp-01 in tests/reference/cp-01-l2.json.
#[test]
fn least_squares_optimum_of_the_constructed_example() {
    let stored: Value = serde_json::from_str(include_str!("reference/cp-01-l2.json")).unwrap();
    let instance = &stored["instance"];
    let found = cut(&numbers(&instance["y"]), Charge::least_squares(instance["penalty"].as_f64().unwrap()));
    let expected = &stored["expected"];
    // The stored objective is rounded to six decimals.
    assert!((found.cost - expected["objective"].as_f64().unwrap()).abs() <= 1e-6, "{}", found.cost);
    let mut breakpoints = ends(&expected["breakpoints"]);
    breakpoints.push(220);
    breakpoints.dedup();
    assert_eq!(found.ends, breakpoints);
}

/// ruptures 1.1.10 (PyPI) with a cost of straight lines, and plain dynamic programming with numpy; script and results in
/// tests/reference.
#[test]
fn levels_and_ramps_have_the_optimum_of_others() {
    let stored: Value = serde_json::from_str(include_str!("reference/ramps.json")).unwrap();
    for case in stored["cases"].as_array().unwrap() {
        let charge = Charge {
            penalty: case["penalty"].as_f64().unwrap(),
            cap: case["cap"].as_f64().unwrap_or(f64::INFINITY),
        };
        let surcharge = case["surcharge"].as_f64().unwrap();
        let found = cut_ramps(&numbers(&case["at"]), &numbers(&case["series"]), charge, surcharge);
        let cost = case["cost"].as_f64().unwrap();
        assert!(
            (found.cost - cost).abs() <= 1e-9 * cost,
            "seed {}: {} is not {cost}",
            case["seed"],
            found.cost
        );
    }
}
