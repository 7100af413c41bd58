//! Slow or narrow ways to the same results, held beside the solver.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use circuit::{BranchId, CircuitError, Complex64, Element, Impedance, Network, NodeId, Resistance, Supply};
use proptest::prelude::*;
use support::{Plan, SUPPLY, element, ohms, plan};

/// Resistance of a wire in the dense twin. Smaller would drown the loads in rounding, which is why the solver does not
/// do it this way; larger would be a resistance.
const WIRE_OHM: f64 = 1e-5;
/// Leak to neutral that keeps floating nodes of the dense twin from making it singular.
const LEAK_SIEMENS: f64 = 1e-10;

/// Node potentials by the nodal equations and Gaussian elimination with partial pivoting; wires as small resistors.
fn dense_potentials(network: &Network, supply: &Supply) -> Vec<Complex64> {
    let count = network.node_count();
    let mut rows = vec![vec![Complex64::default(); count + 1]; count];
    let mut stamp = |a: usize, b: usize, admittance: Complex64| {
        rows[a][a] += admittance;
        rows[b][b] += admittance;
        rows[a][b] -= admittance;
        rows[b][a] -= admittance;
    };
    for branch in network.branches() {
        let admittance = dense_admittance(branch.element.ac);
        stamp(branch.from.0 as usize, branch.to.0 as usize, admittance);
    }
    let (line, neutral) = (supply.line.0 as usize, supply.neutral.0 as usize);
    stamp(line, neutral, Complex64::from(1.0 / supply.source_ohm));
    for node in 0..count {
        stamp(node, neutral, Complex64::from(LEAK_SIEMENS));
    }
    rows[line][count] += supply.volts / supply.source_ohm;
    rows[neutral].fill(Complex64::default());
    rows[neutral][neutral] = Complex64::from(1.0);
    solve_dense(rows)
}

fn dense_admittance(impedance: Impedance) -> Complex64 {
    match impedance {
        Impedance::Open => Complex64::default(),
        Impedance::Short => Complex64::from(1.0 / WIRE_OHM),
        Impedance::Ohms(z) => z.inv(),
    }
}

fn solve_dense(mut rows: Vec<Vec<Complex64>>) -> Vec<Complex64> {
    let count = rows.len();
    for column in 0..count {
        let pivot = (column..count)
            .max_by(|&a, &b| rows[a][column].norm().total_cmp(&rows[b][column].norm()))
            .unwrap();
        rows.swap(column, pivot);
        let pivot_row = rows[column].clone();
        for row in &mut rows[column + 1..] {
            let factor = row[column] / pivot_row[column];
            for (value, above) in row.iter_mut().zip(&pivot_row) {
                *value -= factor * above;
            }
        }
    }
    let mut found = vec![Complex64::default(); count];
    for row in (0..count).rev() {
        let known: Complex64 = (row + 1..count).map(|column| rows[row][column] * found[column]).sum();
        found[row] = (rows[row][count] - known) / rows[row][row];
    }
    found
}

/// Resistance after Kirchhoff (1847): sum over forests of two trees that part `a` from `b`, divided by the sum over spanning
/// trees, each the product of its conductances (cited from memory: Annalen der Physik 72). No subtraction at all, and no elimination.
fn resistance_by_trees(plan: &Plan, a: u32, b: u32) -> f64 {
    let (mut trees, mut forests) = (0.0, 0.0);
    for chosen in 0_u32..1 << plan.branches.len() {
        let mut part: Vec<u32> = (0..plan.nodes).collect();
        let mut product = 1.0;
        let mut is_forest = true;
        for (number, &(from, to, element)) in plan.branches.iter().enumerate() {
            if chosen >> number & 1 == 0 {
                continue;
            }
            let (keep, give) = (part[from as usize], part[to as usize]);
            let Resistance::Ohms(ohm) = element.dc else { panic!("resistors only") };
            is_forest &= keep != give;
            part.iter_mut().filter(|part| **part == give).for_each(|part| *part = keep);
            product /= ohm;
        }
        match plan.nodes - chosen.count_ones().min(plan.nodes) {
            1 if is_forest => trees += product,
            2 if is_forest && part[a as usize] != part[b as usize] => forests += product,
            _ => {}
        }
    }
    forests / trees
}

/// Resistors in series and in parallel, nested.
#[derive(Clone, Debug)]
enum Ladder {
    Resistor(f64),
    Series(Box<Ladder>, Box<Ladder>),
    Parallel(Box<Ladder>, Box<Ladder>),
}

fn ladder() -> impl Strategy<Value = Ladder> {
    ohms(-3.0, 8.0).prop_map(Ladder::Resistor).prop_recursive(5, 24, 2, |inner| {
        let pair = (inner.clone(), inner).prop_map(|(a, b)| (Box::new(a), Box::new(b)));
        prop_oneof![
            pair.clone().prop_map(|(a, b)| Ladder::Series(a, b)),
            pair.prop_map(|(a, b)| Ladder::Parallel(a, b))
        ]
    })
}

impl Ladder {
    fn ohm(&self) -> f64 {
        match self {
            Self::Resistor(ohm) => *ohm,
            Self::Series(a, b) => a.ohm() + b.ohm(),
            Self::Parallel(a, b) => 1.0 / (1.0 / a.ohm() + 1.0 / b.ohm()),
        }
    }

    /// Lays the ladder between two nodes; `current` runs through it, and what each resistor carries is noted in order.
    fn lay(&self, ends: (u32, u32), current: f64, plan: &mut Plan, carried: &mut Vec<f64>) {
        match self {
            Self::Resistor(ohm) => {
                plan.branches.push((ends.0, ends.1, Element::resistor(*ohm)));
                carried.push(current);
            }
            Self::Series(a, b) => {
                let middle = plan.nodes;
                plan.nodes += 1;
                a.lay((ends.0, middle), current, plan, carried);
                b.lay((middle, ends.1), current, plan, carried);
            }
            Self::Parallel(a, b) => {
                let whole = a.ohm() + b.ohm();
                a.lay(ends, current * b.ohm() / whole, plan, carried);
                b.lay(ends, current * a.ohm() / whole, plan, carried);
            }
        }
    }
}

proptest! {
    /// Loads of 10 Ω … 10 kΩ. The twin's wires and leaks shift its results by a few times 1e-5, and the currents of its wires,
    /// taken from microvolts, carry its rounding.
    #[test]
    fn agrees_with_a_dense_nodal_solve(plan in plan(2..=12, 24, element(1.0, 4.0))) {
        let network = plan.network();
        let solution = match network.solve(&SUPPLY) {
            Err(CircuitError::SupplyShorted { .. }) => return Ok(()),
            other => other.unwrap(),
        };
        let dense = dense_potentials(&network, &SUPPLY);
        for node in 0..plan.nodes {
            if let Some(voltage) = solution.voltage_between(NodeId(node), SUPPLY.neutral) {
                let twin = dense[node as usize];
                prop_assert!((voltage - twin).norm() <= 1e-4 * SUPPLY.volts, "node {node}: {voltage}, dense {twin}");
            }
        }
        let scale = solution.plug().current_a;
        for (number, branch) in network.branches().iter().enumerate() {
            let drop = dense[branch.from.0 as usize] - dense[branch.to.0 as usize];
            let twin = drop * dense_admittance(branch.element.ac);
            let current = solution.current(BranchId(number as u32));
            prop_assert!((current - twin).norm() <= 1e-4 * scale + 1e-6, "branch {number}: {current}, dense {twin}");
        }
    }

    /// Impedances from 1 mΩ to 100 MΩ in any mesh of five nodes.
    #[test]
    fn resistance_agrees_with_the_sum_over_trees(plan in plan(2..=5, 9, ohms(-3.0, 8.0).prop_map(Element::resistor))) {
        // Without a path to all nodes there would be no spanning tree: all but node 1 are joined to node 0.
        let mut joined = plan.clone();
        let spare = (2..plan.nodes).map(|node| (0, node, Element::resistor(1e3)));
        joined.branches.extend(spare);
        let by_trees = resistance_by_trees(&joined, 0, 1);
        match (joined.network().resistance_ohm(NodeId(0), NodeId(1)), by_trees.is_finite()) {
            (Resistance::Ohms(ohm), true) => prop_assert!((ohm - by_trees).abs() <= 1e-12 * by_trees, "{ohm}, by trees {by_trees} Ω"),
            (Resistance::Open, false) => {}
            other => prop_assert!(false, "{other:?}"),
        }
    }

    /// Every current to 1e-9 of itself, however small beside the others.
    #[test]
    fn currents_agree_with_series_and_parallel_rules(ladder in ladder(), source_ohm in ohms(-3.0, 1.0)) {
        let mut plan = Plan { nodes: 2, branches: Vec::new() };
        let mut carried = Vec::new();
        let total = 230.0 / (source_ohm + ladder.ohm());
        ladder.lay((0, 1), total, &mut plan, &mut carried);
        let network = plan.network();
        let solution = network.solve(&Supply { source_ohm, ..SUPPLY }).unwrap();
        for (number, expected) in carried.iter().enumerate() {
            let current = solution.current(BranchId(number as u32));
            prop_assert!((current - expected).norm() <= 1e-9 * expected, "branch {number}: {current}, by rules {expected} A");
        }
        let Resistance::Ohms(ohm) = network.resistance_ohm(NodeId(0), NodeId(1)) else { panic!("closed") };
        prop_assert!((ohm - ladder.ohm()).abs() <= 1e-12 * ohm);
    }
}
