//! Laws that every solution keeps, on random networks.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use circuit::{
    BranchId, CircuitError, Complex64, Element, Impedance, Network, NodeId, Resistance, Solver, Supply,
};
use proptest::prelude::*;
use support::{Plan, SUPPLY, element, ohms, part, plan};

fn branch_ids(network: &Network) -> impl Iterator<Item = BranchId> {
    (0..network.branches().len() as u32).map(BranchId)
}

fn near(a: Complex64, b: Complex64, relative: f64) -> bool {
    (a - b).norm() <= relative * a.norm().max(b.norm())
}

fn as_ohms(resistance: Resistance) -> f64 {
    match resistance {
        Resistance::Ohms(ohm) => ohm,
        Resistance::Open => f64::INFINITY,
    }
}

/// `None` for a shorted supply, which other tests look at.
fn solved(network: &Network) -> Option<circuit::Solution> {
    match network.solve(&SUPPLY) {
        Ok(solution) => Some(solution),
        Err(CircuitError::SupplyShorted { .. }) => None,
        Err(other) => panic!("{other}"),
    }
}

proptest! {
    /// Tellegen: what the branches take up is what the plug delivers, active and apparent.
    #[test]
    fn energy_balances(plan in plan(2..=14, 30, element(-3.0, 8.0))) {
        let network = plan.network();
        let Some(solution) = solved(&network) else { return Ok(()) };
        let taken: Complex64 = branch_ids(&network).map(|id| solution.power(id)).sum();
        let plug = solution.plug();
        prop_assert!((taken.re - plug.power_w).abs() <= 1e-9 * plug.apparent_va, "{} W, plug {} W", taken.re, plug.power_w);
        prop_assert!((taken.norm() - plug.apparent_va).abs() <= 1e-9 * plug.apparent_va);
        for id in branch_ids(&network) {
            prop_assert!(solution.power(id).re >= -1e-12 * plug.apparent_va, "a passive branch gives no power");
        }
    }

    /// Kirchhoff's current law at every node, shorts included.
    #[test]
    fn currents_add_up(plan in plan(2..=14, 30, element(-3.0, 8.0))) {
        let network = plan.network();
        let Some(solution) = solved(&network) else { return Ok(()) };
        let mut inflow = vec![Complex64::default(); network.node_count()];
        let mut largest = vec![0.0_f64; network.node_count()];
        for id in branch_ids(&network) {
            let branch = network.branches()[id.0 as usize];
            let current = solution.current(id);
            inflow[branch.from.0 as usize] -= current;
            inflow[branch.to.0 as usize] += current;
            for node in [branch.from, branch.to] {
                largest[node.0 as usize] = largest[node.0 as usize].max(current.norm());
            }
        }
        let supplied = solution.plug().current_a;
        for node in 2..network.node_count() {
            let allowed = 1e-11 * largest[node] + 1e-13 * supplied;
            prop_assert!(inflow[node].norm() <= allowed, "node {node}: {}", inflow[node]);
        }
        prop_assert!((inflow[0].norm() - supplied).abs() <= 1e-9 * supplied);
        prop_assert!((inflow[1].norm() - supplied).abs() <= 1e-9 * supplied);
    }

    #[test]
    fn resistance_is_the_same_both_ways(plan in plan(2..=12, 24, element(-3.0, 8.0)), a in 0..12_u32, b in 0..12_u32) {
        let network = plan.network();
        let (a, b) = (NodeId(a % plan.nodes), NodeId(b % plan.nodes));
        let (there, back) = (as_ohms(network.resistance_ohm(a, b)), as_ohms(network.resistance_ohm(b, a)));
        prop_assert!(there == back || (there - back).abs() <= 1e-12 * there, "{there} and {back} Ω");
    }

    /// A voltage here drives the same current there as it would there drive here.
    #[test]
    fn transfer_is_the_same_both_ways(plan in plan(4..=8, 20, part(0.0, 4.0)), source_ohm in ohms(-1.0, 2.0)) {
        let sent = |from: [u32; 2], to: [u32; 2]| {
            let mut network = plan.network();
            let load = network.add(NodeId(to[0]), NodeId(to[1]), Element::resistor(source_ohm)).unwrap();
            let supply = Supply { line: NodeId(from[0]), neutral: NodeId(from[1]), volts: 230.0, source_ohm };
            network.solve(&supply).map(|solution| (solution.current(load), solution.plug().current_a))
        };
        let (there, driven) = sent([0, 1], [2, 3]).unwrap();
        let (back, driven_back) = sent([2, 3], [0, 1]).unwrap();
        let allowed = 1e-11 * there.norm() + 1e-14 * driven.max(driven_back);
        prop_assert!((there - back).norm() <= allowed, "{there} and {back} A");
    }

    /// Rayleigh: another path never raises a resistance, opening one never lowers it.
    #[test]
    fn another_path_never_raises_resistance(
        plan in plan(2..=10, 20, element(-3.0, 8.0)),
        ends in (0..10_u32, 0..10_u32),
        path in (0..10_u32, 0..10_u32, element(-3.0, 8.0)),
    ) {
        let mut network = plan.network();
        let node = |number: u32| NodeId(number % plan.nodes);
        let before = as_ohms(network.resistance_ohm(node(ends.0), node(ends.1)));
        network.add(node(path.0), node(path.1), path.2).unwrap();
        let after = as_ohms(network.resistance_ohm(node(ends.0), node(ends.1)));
        prop_assert!(after <= before * (1.0 + 1e-13), "{before} Ω became {after} Ω");
    }

    #[test]
    fn numbering_does_not_matter(plan in plan(2..=12, 24, element(-3.0, 8.0)), seed in any::<u64>()) {
        let network = plan.network();
        let Some(solution) = solved(&network) else { return Ok(()) };
        let node_place = shuffled(plan.nodes as usize, seed);
        let branch_place = shuffled(plan.branches.len(), seed ^ 0x9e37_79b9);
        let renamed = |node: u32| node_place[node as usize] as u32;
        let mut other = Plan { nodes: plan.nodes, branches: plan.branches.clone() };
        for (number, &(from, to, element)) in plan.branches.iter().enumerate() {
            other.branches[branch_place[number]] = (renamed(from), renamed(to), element);
        }
        let supply = Supply { line: NodeId(renamed(0)), neutral: NodeId(renamed(1)), ..SUPPLY };
        let other_solution = other.network().solve(&supply).unwrap();
        let scale = solution.plug().current_a;
        for id in branch_ids(&network) {
            let there = BranchId(branch_place[id.0 as usize] as u32);
            let (here, there) = (solution.current(id), other_solution.current(there));
            prop_assert!(near(here, there, 1e-9) || (here - there).norm() <= 1e-13 * scale, "{here} and {there} A");
        }
        for node in 0..plan.nodes {
            let here = solution.voltage_between(NodeId(node), NodeId(1));
            let there = other_solution.voltage_between(NodeId(renamed(node)), supply.neutral);
            prop_assert_eq!(here.is_some(), there.is_some());
            prop_assert!((here.unwrap_or_default() - there.unwrap_or_default()).norm() <= 1e-12 * SUPPLY.volts * 4.0);
        }
    }

    #[test]
    fn a_used_solver_answers_like_a_new_one(plans in prop::collection::vec(plan(2..=14, 30, element(-3.0, 8.0)), 1..4)) {
        let mut solver = Solver::new();
        for plan in &plans {
            let network = plan.network();
            let used = solver.solve(&network, &SUPPLY).cloned();
            prop_assert_eq!(used, network.solve(&SUPPLY));
            let used = solver.resistance_ohm(&network, NodeId(0), NodeId(1));
            prop_assert_eq!(used, network.resistance_ohm(NodeId(0), NodeId(1)));
        }
    }

    /// Whatever is put in, the answer is an error or finite; coils and capacitors without loss included.
    #[test]
    fn nothing_blows_up(plan in plan(2..=10, 24, anything()), line in 0..12_u32, neutral in 0..12_u32, source_ohm in 0.0..1.0_f64) {
        let network = plan.network();
        let supply = Supply { line: NodeId(line), neutral: NodeId(neutral), volts: 230.0, source_ohm };
        if let Ok(solution) = network.solve(&supply) {
            for id in branch_ids(&network) {
                prop_assert!(solution.current(id).is_finite() && solution.power(id).is_finite());
            }
            for node in 0..plan.nodes {
                prop_assert!(solution.voltage_between(NodeId(node), NodeId(neutral)).unwrap_or_default().is_finite());
            }
        }
        prop_assert!(as_ohms(network.resistance_ohm(NodeId(line), NodeId(neutral))) >= 0.0);
    }

    /// A shorted supply names shorts that lead from line to neutral without a gap.
    #[test]
    fn a_short_circuit_names_its_way(plan in plan(2..=8, 16, element(0.0, 3.0))) {
        let network = plan.network();
        if let Err(CircuitError::SupplyShorted { path }) = network.solve(&SUPPLY) {
            let mut node = SUPPLY.line;
            for id in path {
                let branch = network.branches()[id.0 as usize];
                prop_assert_eq!(branch.element.ac, Impedance::Short);
                prop_assert!(branch.from == node || branch.to == node);
                node = if branch.from == node { branch.to } else { branch.from };
            }
            prop_assert_eq!(node, SUPPLY.neutral);
        }
    }
}

/// Parts from a few fixed values, so that resonances and balanced bridges do come up, and wild ones.
fn anything() -> impl Strategy<Value = Element> {
    let fixed = prop::sample::select(vec![-100.0, -10.0, -1.0, 0.0, 1.0, 10.0, 100.0]);
    let ideal = fixed.prop_map(|reactance| Impedance::Ohms(Complex64::new(0.0, reactance)).into());
    let wild = (any::<f64>(), any::<f64>())
        .prop_map(|(re, im)| Impedance::Ohms(Complex64::new(re.abs(), im)).into())
        .prop_filter(
            "numbers only",
            |element: &Element| !matches!(element.ac, Impedance::Ohms(z) if z.is_nan()),
        );
    prop_oneof![4 => ideal, 2 => wild, 2 => element(-9.0, 15.0)]
}

/// Where each of `count` things goes: Fisher–Yates with a linear congruential generator.
fn shuffled(count: usize, mut seed: u64) -> Vec<usize> {
    let mut places: Vec<usize> = (0..count).collect();
    for last in (1..count).rev() {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        places.swap(last, (seed >> 33) as usize % (last + 1));
    }
    places
}
