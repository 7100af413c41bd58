//! The chain under the alignment: published values, and an enumeration of all ways.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::align::chain::{Chain, Forward, Order, Runs, best};
use proptest::prelude::*;
use serde_json::Value;

/// `al-01-dtw-and-steps`: constructed, exact by exhaustive dynamic programming (its source is named in the file). Steps in
/// a fixed order, each between its shortest and longest length, normal samples; negative logarithm of the likelihood,
/// least over all lengths.
fn reference() -> Value {
    serde_json::from_str(include_str!("reference/al-01-dtw-and-steps.json")).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// Runs of a step: each sample normal, the length within bounds, no term for the length.
fn step_runs(step: &Value, samples: &[f64]) -> Runs {
    let (mean, sd) = (step["mean"].as_f64().unwrap(), step["sd"].as_f64().unwrap());
    let bound = |key: &str| step[key].as_u64().unwrap() as usize;
    let normal =
        |y: f64| (-0.5 * ((y - mean) / sd).powi(2)).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
    Runs::from_rows((0..samples.len()).map(|from| {
        let longest = bound("dmax").min(samples.len() - from);
        (1..=longest)
            .map(|length| {
                let fits = samples[from..from + length].iter().map(|&y| normal(y)).product::<f64>();
                if length < bound("dmin") { 0.0 } else { fits }
            })
            .collect::<Vec<_>>()
    }))
}

/// Likeliest lengths of the steps but the one left out, and the negative logarithm of the likelihood.
fn in_order(samples: &[f64], skip: Option<&str>) -> (f64, Vec<usize>, f64) {
    let reference = reference();
    let steps: Vec<&Value> = reference["instance"]["steps"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|s| s["id"].as_str() != skip)
        .collect();
    let runs: Vec<Runs> = steps.iter().map(|s| step_runs(s, samples)).collect();
    let last = runs.len() - 1;
    let order = Order {
        begin: (0..=last).map(|s| f64::from(u8::from(s == 0))).collect(),
        next: (0..=last).map(|s| if s < last { vec![(s + 1, 1.0)] } else { Vec::new() }).collect(),
        finish: (0..=last).map(|s| f64::from(u8::from(s == last))).collect(),
    };
    let all: Vec<&Runs> = runs.iter().collect();
    let chain = Chain { pieces: samples.len(), runs: &all, order: &order, doors: &[] };
    let (ln, visits) = best(&chain);
    let sum = Forward::default().ln_sum(&chain);
    (-ln, visits.iter().map(|v| v.to - v.from).collect(), -sum)
}

#[test]
fn known_steps_have_the_known_lengths() {
    let reference = reference();
    let (instance, expected) = (&reference["instance"], &reference["expected"]);
    let assert_known = |samples: &Value, skip: Option<&str>, nll: &Value, lengths: &Value| {
        let (got, parts, sum) = in_order(&numbers(samples), skip);
        assert!((got - nll.as_f64().unwrap()).abs() < 1e-6, "{skip:?}: {got}, expected {nll}");
        let known: Vec<usize> =
            lengths.as_array().unwrap().iter().map(|l| l.as_u64().unwrap() as usize).collect();
        assert_eq!(parts, known, "{skip:?}");
        assert!(sum <= got, "the sum over all ways is below the best of them");
    };
    assert_known(&instance["trace"], None, &expected["nll"], &expected["durations"]);
    for (skip, answer) in expected["nll_skip_one"].as_object().unwrap() {
        assert_known(&instance["trace"], Some(skip), &answer[0], &answer[1]);
    }
    for (skip, answer) in expected["without_heat"].as_object().unwrap() {
        let skip = skip.strip_prefix("skip_");
        assert_known(&instance["trace_without_heat"], skip, &answer[0], &answer[1]);
    }
}

/// With a free choice of one step to leave out, heating is what was left out of the recording that lacks it.
#[test]
fn the_missing_step_is_found() {
    let reference = reference();
    let samples = numbers(&reference["instance"]["trace_without_heat"]);
    let steps = reference["instance"]["steps"].as_array().unwrap();
    let runs: Vec<Runs> = steps.iter().map(|s| step_runs(s, &samples)).collect();
    let n = runs.len();
    let after = |s: usize| {
        let mut next = Vec::new();
        if s + 1 < n {
            next.push((s + 1, 0.9));
        }
        if s + 2 < n {
            next.push((s + 2, 0.1));
        }
        next
    };
    let order = Order {
        begin: (0..n).map(|s| [0.9, 0.1].get(s).copied().unwrap_or(0.0)).collect(),
        next: (0..n).map(after).collect(),
        finish: (0..n).map(|s| if s + 1 == n { 1.0 } else { 0.0 }).collect(),
    };
    let all: Vec<&Runs> = runs.iter().collect();
    let (_, visits) = best(&Chain { pieces: samples.len(), runs: &all, order: &order, doors: &[] });
    let visited: Vec<&str> = visits.iter().map(|v| steps[v.state]["id"].as_str().unwrap()).collect();
    assert_eq!(visited, ["lock", "fill", "drain", "spin"]);
}

/// All ways, one after the other: sum and greatest of their weights.
fn enumerate(chain: &Chain<'_>) -> (f64, f64) {
    fn go(chain: &Chain<'_>, state: usize, at: usize, weight: f64, found: &mut (f64, f64)) {
        let door = chain.doors.get(state * chain.pieces + at).copied().unwrap_or(1.0);
        for (n, run) in chain.runs[state].row(at).iter().enumerate() {
            let (weight, to) = (weight * door * run, at + n + 1);
            if to == chain.pieces {
                let whole = weight * chain.order.finish[state];
                *found = (found.0 + whole, found.1.max(whole));
            } else {
                for &(next, probability) in &chain.order.next[state] {
                    go(chain, next, to, weight * probability, found);
                }
            }
        }
    }
    let mut found = (0.0, 0.0);
    for (state, &begin) in chain.order.begin.iter().enumerate() {
        go(chain, state, 0, begin, &mut found);
    }
    found
}

/// Pieces, runs of each state, order, doors.
type Made = (usize, Vec<Vec<Vec<f64>>>, Order, Vec<f64>);

fn made() -> impl Strategy<Value = Made> {
    (1_usize..6, 1_usize..4).prop_flat_map(|(pieces, states)| {
        let weight = || prop_oneof![Just(0.0), 0.0..1.0_f64, Just(1e-90)];
        let rows: Vec<_> =
            (0..pieces).map(|from| prop::collection::vec(weight(), 0..=pieces - from)).collect();
        let runs: Vec<_> = (0..states).map(|_| rows.clone()).collect();
        let each = || prop::collection::vec(0.0..1.0_f64, states);
        let next = prop::collection::vec(prop::collection::vec((0..states, 0.0..1.0_f64), 0..4), states);
        let order = (each(), next, each()).prop_map(|(begin, next, finish)| Order { begin, next, finish });
        (Just(pieces), runs, order, prop::collection::vec(0.0..1.0_f64, states * pieces))
    })
}

proptest! {
    #[test]
    fn sum_and_best_are_those_of_the_enumeration((pieces, rows, order, doors) in made()) {
        let runs: Vec<Runs> = rows.into_iter().map(Runs::from_rows).collect();
        let all: Vec<&Runs> = runs.iter().collect();
        let chain = Chain { pieces, runs: &all, order: &order, doors: &doors };
        let (sum, greatest) = enumerate(&chain);
        let ln = Forward::default().ln_sum(&chain);
        let (heaviest, visits) = best(&chain);
        if sum > 1e-280 {
            prop_assert!((ln - sum.ln()).abs() < 1e-9, "{ln} {}", sum.ln());
            prop_assert!((heaviest - greatest.ln()).abs() < 1e-9);
            prop_assert!(ln >= heaviest - 1e-12);
            prop_assert_eq!((visits[0].from, visits.last().unwrap().to), (0, pieces));
            prop_assert!(visits.windows(2).all(|w| w[0].to == w[1].from));
        } else {
            // Below what the enumeration can hold in one number.
            prop_assert!(ln < -600.0);
        }
    }
}
