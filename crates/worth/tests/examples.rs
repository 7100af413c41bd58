//! Worked examples, digit for digit (`reference/README.md` says where they come from).
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use serde_json::Value;
use worth::Weibull;
use worth::choice::MachineChoice;

/// The examples hold to 1e-9 of the value, or absolutely below 1.
fn same(found: f64, wanted: &Value, what: &str) {
    let wanted = wanted.as_f64().unwrap();
    assert!((found - wanted).abs() <= 1e-9 * wanted.abs().max(1.0), "{what}: {found} against {wanted}");
}

fn life(pair: &Value) -> Weibull {
    Weibull::new(pair[0].as_f64().unwrap(), pair[1].as_f64().unwrap()).unwrap()
}

#[test]
fn remaining_life() {
    let example: Value =
        serde_json::from_str(include_str!("reference/ec-01-weibull-residual-life.json")).unwrap();
    let mut rows = 0;
    for of_life in example["expected"]["table"].as_array().unwrap() {
        let (shape, scale) = (of_life["shape"].as_f64().unwrap(), of_life["scale"].as_f64().unwrap());
        let life = Weibull::new(shape, scale).unwrap();
        same(life.mean(), &of_life["mean_life"], "mean life");
        for row in of_life["by_age"].as_array().unwrap() {
            let age = row["age"].as_f64().unwrap();
            same(life.survival(age), &row["survival"], "survival");
            same(life.mean_residual(age), &row["mean_residual_life"], "mean residual life");
            same(life.survives(age, 3.0), &row["p_survive_next_3"], "three years more");
            same(life.median_residual(age), &row["median_residual_life"], "median residual life");
            rows += 1;
        }
    }
    assert_eq!(rows, 24);
    let of_mean = Weibull::of_mean(2.2, 12.6).unwrap();
    assert!((of_mean.scale() - 14.227_244_497_539_568).abs() < 1e-9);
}

#[test]
fn repair_or_replace_a_machine() {
    let example: Value =
        serde_json::from_str(include_str!("reference/ec-04-repair-or-replace-machine.json")).unwrap();
    let cases = example["instance"]["cases"].as_array().unwrap();
    let results = example["expected"]["results"].as_array().unwrap();
    assert_eq!((cases.len(), results.len()), (5, 5));
    for (case, result) in cases.iter().zip(results) {
        let f = |key: &str| case[key].as_f64().unwrap();
        let choice = MachineChoice {
            price_new: f("price_new"),
            run_new: f("run_new"),
            run_old: f("run_old"),
            discount: f("discount"),
            new_life: life(&case["new_life"]),
            old_life: life(&case["old_life"]),
            age: f("age"),
        };
        let repair = f("repair");
        same(choice.replace_now().unwrap(), &result["cost_replace_now"], "replace now");
        same(choice.repair_now(repair).unwrap(), &result["cost_repair_now"], "repair now");
        same(choice.break_even(), &result["break_even_repair_price"], "break-even");
        same(choice.old_life.mean_residual(choice.age), &result["expected_residual_life"], "years left");
        assert_eq!(repair < choice.break_even(), result["decision"] == "repair");
        assert_eq!(choice.repaired_a_year(repair) < choice.new_a_year(), result["decision"] == "repair");
    }
}
