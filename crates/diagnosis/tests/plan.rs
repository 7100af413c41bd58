//! Troubleshooting problems with known optimum; each file in `reference/` names its source.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod problems;

use diagnosis::plan::{Effort, Move, Plan, myopic_rule, plan, ratio_rule};
use problems::{Loaded, load, load_with_van};

const EXACT: Effort = Effort { states: 3_000_000, gap: 0.0 };

/// All but the one with several van loads and the one that takes long.
const PROBLEMS: [&str; 15] = [
    "ts-01-pc-basic",
    "ts-02-dependent-actions",
    "ts-03-imperfect-actions-questions",
    "ts-04-observe-then-repair",
    "ts-05-nospin-tests",
    "ts-06-myopic-trap",
    "ts-07-walk-away",
    "ts-08-clusters-inside-info",
    "ts-09-clusters-system-test",
    "ts-10-postponed-test",
    "ts-11-clusters-checks",
    "ts-12-multi-series",
    "ts-13-multi-noisyor-checks",
    "ts-15-medium",
    "ts-16-large",
];

fn assert_close(got: f64, expected: f64, what: &str) {
    assert!((got - expected).abs() <= 1e-9 * expected.max(1.0), "{what}: {got}, expected {expected}");
}

/// Files print ten decimals at most.
fn assert_optimal(loaded: &Loaded, plan: &Plan, expected: f64, firsts: &[String]) {
    assert_close(plan.upper, expected, &loaded.id);
    assert_close(plan.lower, expected, &loaded.id);
    let first = loaded.name(plan.choices[0].step);
    assert!(firsts.contains(&first), "{}: first {first}, expected one of {firsts:?}", loaded.id);
}

fn assert_file(name: &str, effort: &Effort) {
    let loaded = load(name);
    let answer = plan(&loaded.problem, effort).unwrap();
    assert_optimal(&loaded, &answer, loaded.expected["optimal_ecr"].as_f64().unwrap(), &loaded.firsts());
}

#[test]
fn problems_have_the_known_optimum() {
    for name in PROBLEMS {
        assert_file(name, &EXACT);
    }
}

/// 242 million states if all were counted; 1.9 million states and moves are looked at, in some 0.3 GB.
#[test]
#[ignore = "half a minute without optimisation: cargo test --release -p diagnosis -- --ignored"]
fn the_largest_problem_has_the_known_optimum() {
    assert_file("ts-17-xlarge", &EXACT);
}

#[test]
fn two_visits_cost_what_is_known_for_each_van_load() {
    let cases = load_with_van("ts-14-two-visits-van", "").expected["by_van"].clone();
    let cases = cases.as_object().unwrap();
    assert_eq!(cases.len(), 8);
    for (van, expected) in cases {
        let loaded = load_with_van("ts-14-two-visits-van", van);
        let answer = plan(&loaded.problem, &EXACT).unwrap();
        let first = problems::strings(&expected["first"]);
        assert_optimal(&loaded, &answer, expected["optimal_ecr"].as_f64().unwrap(), &first);
    }
}

/// The rules that ours must never be worse than, at their own published cost.
#[test]
fn greedy_rules_cost_what_is_known() {
    for name in [
        "ts-01-pc-basic",
        "ts-02-dependent-actions",
        "ts-03-imperfect-actions-questions",
        "ts-04-observe-then-repair",
        "ts-05-nospin-tests",
        "ts-06-myopic-trap",
        "ts-07-walk-away",
        "ts-15-medium",
        "ts-16-large",
        "ts-17-xlarge",
    ] {
        let loaded = load(name);
        let ratio = ratio_rule(&loaded.problem).unwrap();
        assert_close(ratio.cost, loaded.expected["greedy_pc_ecr"].as_f64().unwrap(), name);
        let order = problems::strings(&loaded.expected["greedy_pc_order"]);
        assert_eq!(loaded.name(ratio.first), order[0], "{name}");
        let myopic = myopic_rule(&loaded.problem).unwrap();
        if let Some(expected) = loaded.expected["myopic_test_ecr"].as_f64() {
            assert_close(myopic.cost, expected, name);
            assert_eq!(
                loaded.name(myopic.first),
                loaded.expected["myopic_first"].as_str().unwrap(),
                "{name}"
            );
        }
    }
}

/// Whatever the effort, the bounds hold the optimum, narrow, and stay below the published rules.
#[test]
fn little_effort_gives_honest_bounds() {
    for name in [
        "ts-03-imperfect-actions-questions",
        "ts-11-clusters-checks",
        "ts-15-medium",
        "ts-16-large",
        "ts-17-xlarge",
    ] {
        let loaded = load(name);
        let optimum = loaded.expected["optimal_ecr"].as_f64().unwrap();
        let rules = ratio_rule(&loaded.problem).unwrap().cost.min(myopic_rule(&loaded.problem).unwrap().cost);
        let mut gap = f64::INFINITY;
        for states in [1, 100, 20_000] {
            let answer = plan(&loaded.problem, &Effort { states, gap: 0.0 }).unwrap();
            assert!(answer.lower <= optimum + 1e-9 && optimum <= answer.upper + 1e-9, "{name}: {answer:?}");
            assert!(answer.gap() <= gap + 1e-9, "{name}: the gap grew");
            assert!(
                states < 20_000 || answer.upper <= rules + 1e-9,
                "{name}: {} against {rules}",
                answer.upper
            );
            gap = answer.gap();
        }
    }
}

/// What is done with the effort that is given by default, on problems that need up to 242 million states.
#[test]
fn default_effort_comes_within_five_per_cent() {
    for name in PROBLEMS.iter().chain(&["ts-17-xlarge"]) {
        let loaded = load(name);
        let optimum = loaded.expected["optimal_ecr"].as_f64().unwrap();
        let answer = plan(&loaded.problem, &Effort::default()).unwrap();
        assert!(answer.upper <= 1.05 * optimum, "{name}: {} against {optimum}", answer.upper);
    }
}

/// Problems of the size of a visit: a long search knows the optimum of the small ones to a per cent, and all bounds, of
/// whatever effort, must hold it.
#[test]
fn bounds_of_machine_like_problems_hold_each_other() {
    for (suspects, seed) in [(4, 0), (5, 2), (12, 4)] {
        let problem = problems::after_a_service_test(suspects, seed);
        let long = plan(&problem, &Effort { states: 60_000, gap: 0.0 }).unwrap();
        for states in [1, 300, 10_000] {
            let answer = plan(&problem, &Effort { states, gap: 0.0 }).unwrap();
            assert!(answer.lower <= long.upper + 1e-9, "{suspects}/{seed}: {answer:?}");
            assert!(long.lower <= answer.upper + 1e-9, "{suspects}/{seed}: {answer:?}");
        }
        assert!(long.gap() <= 0.1 * long.upper, "{suspects}/{seed}: {long:?}");
        assert!(
            long.upper <= ratio_rule(&problem).unwrap().cost + 1e-9,
            "{suspects}/{seed}: the rule is better"
        );
    }
}

#[test]
fn the_first_choice_is_a_move_of_the_problem() {
    let loaded = load("ts-07-walk-away");
    let answer = plan(&loaded.problem, &EXACT).unwrap();
    assert_eq!(answer.choices[0].step, Move::GiveUp);
    assert_eq!(answer.choices.len(), 6);
}
