//! Fault charts: probabilities, cautions and costs that must hold for every machine and complaint.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::Find;
use diagnosis::chart::{Chart, Does, Extent, Label, Then};
use diagnosis::check::{Instrument, Power};
use diagnosis::evidence::{Clue, Entry, Evidence};
use diagnosis::finding::Action;
use diagnosis::setup::Setup;
use machine::model::Machine;

const SMALL: &str = include_str!("../../machine/tests/good/small.toml");
const LARGE: &str = include_str!("../../../machines/polwarren-cockle-52.toml");

fn machine(text: &str) -> Machine {
    machine::read::read(text, None).machine.unwrap()
}

fn complains(function: usize) -> Evidence {
    let clue = Clue::Fails(vec![function]);
    Evidence {
        entries: vec![Entry { clue, said: "fails".to_owned(), at: None, answers: None }],
        ..Evidence::default()
    }
}

fn chart(machine: &Machine, function: usize, extent: &Extent) -> Chart {
    let evidence = complains(function);
    Find::new(machine, &evidence, &Setup::default()).unwrap().chart(&evidence, extent).unwrap()
}

fn for_each_chart(test: impl Fn(&Machine, &Chart)) {
    let (small, large) = (machine(SMALL), machine(LARGE));
    for function in 0..small.functions.len() {
        test(&small, &chart(&small, function, &Extent::default()));
    }
    let heats = large.functions.iter().position(|f| f.name == "heats").unwrap();
    test(&large, &chart(&large, heats, &Extent::default()));
}

#[test]
fn probabilities_sum_to_one_and_are_handed_down() {
    for_each_chart(|_, chart| {
        let all: f64 = chart.suspects.iter().map(|s| s.1).sum();
        assert!((all + chart.others - 1.0).abs() < 1e-9);
        let mut reached = vec![0.0; chart.nodes.len()];
        reached[0] = 1.0;
        let mut ends = 0.0;
        for (at, node) in chart.nodes.iter().enumerate() {
            let sum: f64 = node.branches.iter().map(|b| b.probability).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{}: {sum}", node.says());
            assert!((node.probability - reached[at]).abs() < 1e-9);
            for branch in &node.branches {
                let p = node.probability * branch.probability;
                match branch.then {
                    Then::Node(next) => {
                        assert!(next > at, "a chart goes on, never back");
                        reached[next] += p;
                    }
                    Then::Done | Then::Afresh { .. } => ends += p,
                }
            }
        }
        assert!((ends - 1.0).abs() < 1e-9, "{ends}");
    });
}

/// The invariant of every instruction: what is opened, measured, run or mended has its caution with it.
#[test]
fn every_node_that_can_hurt_has_its_caution() {
    for_each_chart(|_, chart| {
        for node in &chart.nodes {
            let can_hurt = match &node.does {
                Does::Act(Action::Check(c)) => {
                    !c.access.is_empty() || c.between.is_some() || c.power != Power::Dead
                }
                Does::Act(Action::Mend { .. }) => true,
                Does::Act(Action::HandBack { .. }) | Does::GiveUp => false,
            };
            assert!(!can_hurt || !node.caution().is_empty(), "{}", node.says());
        }
    });
}

/// Node by node the chart asks the planner anew; what it takes in all must be what the planner promised at the start, or,
/// where the planner could not close its bounds, lie between them.
#[test]
fn the_chart_takes_what_the_planner_promised() {
    for_each_chart(|_, chart| {
        let (lower, upper) = chart.planned;
        assert!(chart.minutes >= lower * (1.0 - 1e-9), "{} below {lower}", chart.minutes);
        assert!(chart.minutes <= upper * (1.0 + 1e-6), "{} above {upper}", chart.minutes);
        assert!(chart.minutes_to_find <= chart.minutes);
    });
}

/// Few suspects, so that the planner closes its bounds: then the chart's cost is the optimum.
#[test]
fn a_chart_of_a_solved_problem_costs_the_optimum() {
    let small = machine(SMALL);
    let heats = small.functions.iter().position(|f| f.name == "heats").unwrap();
    // Only the element can fail, and only ohms and eyes can tell.
    let mut few = small.clone();
    let element = small.part("element").unwrap();
    for (_, p) in few.parts.iter_mut().enumerate().filter(|(id, _)| *id != element) {
        p.rates.iter_mut().for_each(|r| *r = 0.0);
    }
    let mut setup = Setup::default();
    setup.instruments.retain(|o| o.instrument != Instrument::PowerMeter);
    let evidence = complains(heats);
    let extent = Extent { rare: 1e-9, depth: 30, nodes: 400 };
    let chart = Find::new(&few, &evidence, &setup).unwrap().chart(&evidence, &extent).unwrap();
    let (lower, upper) = chart.planned;
    assert!(upper - lower < 1e-6 * upper, "not solved: {lower} to {upper}");
    assert!((chart.minutes - upper).abs() < 1e-6 * upper, "{} against {upper}", chart.minutes);
}

#[test]
fn a_chart_keeps_within_its_extent() {
    let small = machine(SMALL);
    let extent = Extent { rare: 0.05, depth: 2, nodes: 5 };
    let chart = chart(&small, 0, &extent);
    assert!(chart.nodes.len() <= extent.nodes);
    assert!(chart.nodes.iter().all(|n| n.probability >= extent.rare));
    assert!(chart.cut > 0.0);
    // What is cut is cut openly: the branches say so, and what it costs is counted.
    assert!(
        chart
            .nodes
            .iter()
            .flat_map(|n| &n.branches)
            .any(|b| matches!(b.then, Then::Afresh { minutes } if minutes > 0.0))
    );
    assert!(chart.minutes <= chart.planned.1 * (1.0 + 1e-6));
}

/// Two branches of one check never bear the same label: whoever reads it must know where to go.
#[test]
fn labels_tell_branches_apart() {
    for_each_chart(|_, chart| {
        for node in &chart.nodes {
            let mut labels: Vec<String> = node.branches.iter().map(|b| b.label.says()).collect();
            labels.sort();
            let all = labels.len();
            labels.dedup();
            assert_eq!(labels.len(), all, "{}: {labels:?}", node.says());
            if !node.is_check() {
                assert!(node.branches.iter().all(|b| matches!(b.label, Label::Works(_))), "{}", node.says());
            }
        }
    });
}
