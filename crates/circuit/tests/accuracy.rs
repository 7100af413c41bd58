//! How exact currents are where milliohms and a hundred megohms meet: held against a solve with twice the digits.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use std::ops::{Add, Div, Mul, Neg, Sub};

use circuit::{BranchId, Element};
use proptest::prelude::*;
use support::{Plan, SUPPLY, ohms, plan};

/// A number of about 32 digits: the sum of two doubles, the second below half a unit in the last place of the first.
/// Sums and products after Dekker (1971) and Knuth, cited from memory.
#[derive(Clone, Copy, Debug, Default)]
struct Twofold {
    high: f64,
    low: f64,
}

impl Twofold {
    fn sum(a: f64, b: f64) -> Self {
        let high = a + b;
        let shifted = high - a;
        Self { high, low: (a - (high - shifted)) + (b - shifted) }
    }
}

impl From<f64> for Twofold {
    fn from(high: f64) -> Self {
        Self { high, low: 0.0 }
    }
}

impl Add for Twofold {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let high = Self::sum(self.high, other.high);
        let low = Self::sum(self.low, other.low);
        let once = Self::sum(high.high, high.low + low.high);
        Self::sum(once.high, once.low + low.low)
    }
}

impl Neg for Twofold {
    type Output = Self;
    fn neg(self) -> Self {
        Self { high: -self.high, low: -self.low }
    }
}

impl Sub for Twofold {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Twofold {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let high = self.high * other.high;
        let rest = self.high.mul_add(other.high, -high);
        Self::sum(high, rest + (self.high * other.low + self.low * other.high))
    }
}

impl Div for Twofold {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let first = Self::from(self.high / other.high);
        let rest = self - first * other;
        let second = Self::from(rest.high / other.high);
        let rest = rest - second * other;
        first + second + Self::from(rest.high / other.high)
    }
}

/// Current of each resistor by the nodal equations, eliminated densely; every node has some path to neutral.
fn twofold_currents(plan: &Plan, resistors: &[(u32, u32, f64)]) -> Vec<f64> {
    let count = plan.nodes as usize;
    let neutral = SUPPLY.neutral.0 as usize;
    let one = Twofold::from(1.0);
    let mut rows = vec![vec![Twofold::default(); count + 1]; count];
    let mut stamp = |a: usize, b: usize, ohm: f64| {
        let siemens = one / Twofold::from(ohm);
        for (row, column, value) in [(a, a, siemens), (b, b, siemens), (a, b, -siemens), (b, a, -siemens)] {
            rows[row][column] = rows[row][column] + value;
        }
    };
    for &(from, to, ohm) in resistors {
        stamp(from as usize, to as usize, ohm);
    }
    let line = SUPPLY.line.0 as usize;
    stamp(line, neutral, SUPPLY.source_ohm);
    rows[line][count] = Twofold::from(SUPPLY.volts) / Twofold::from(SUPPLY.source_ohm);
    rows[neutral].fill(Twofold::default());
    rows[neutral][neutral] = one;
    let potential = solve_twofold(rows);
    let current = |&(from, to, ohm): &(u32, u32, f64)| {
        ((potential[from as usize] - potential[to as usize]) / Twofold::from(ohm)).high
    };
    resistors.iter().map(current).collect()
}

fn solve_twofold(mut rows: Vec<Vec<Twofold>>) -> Vec<Twofold> {
    let count = rows.len();
    for column in 0..count {
        let size = |row: &usize| rows[*row][column].high.abs();
        let pivot = (column..count).max_by(|a, b| size(a).total_cmp(&size(b))).unwrap();
        rows.swap(column, pivot);
        let pivot_row = rows[column].clone();
        for row in &mut rows[column + 1..] {
            let factor = row[column] / pivot_row[column];
            for (value, above) in row.iter_mut().zip(&pivot_row) {
                *value = *value - factor * *above;
            }
        }
    }
    let mut found = vec![Twofold::default(); count];
    for row in (0..count).rev() {
        let mut rest = rows[row][count];
        for column in row + 1..count {
            rest = rest - rows[row][column] * found[column];
        }
        found[row] = rest / rows[row][row];
    }
    found
}

proptest! {
    /// Each current to 1e-9 of itself, where that is not below the last digit of the supply's current.
    #[test]
    fn currents_keep_their_digits(plan in plan(2..=9, 16, ohms(-3.0, 8.0).prop_map(Element::resistor))) {
        let mut joined = plan.clone();
        joined.branches.extend((0..plan.nodes - 1).map(|node| (node, node + 1, Element::resistor(1e8))));
        let as_resistor = |&(from, to, element): &(u32, u32, Element)| match element.dc {
            circuit::Resistance::Ohms(ohm) => (from, to, ohm),
            circuit::Resistance::Open => panic!("resistors only"),
        };
        let resistors: Vec<_> = joined.branches.iter().map(as_resistor).collect();
        let exact = twofold_currents(&joined, &resistors);
        let solution = joined.network().solve(&SUPPLY).unwrap();
        let supplied = solution.plug().current_a;
        for (number, (&(from, to, ohm), exact)) in resistors.iter().zip(&exact).enumerate() {
            let found = solution.current(BranchId(number as u32)).re;
            let allowed = 1e-9 * exact.abs() + 1e-15 * supplied;
            prop_assert!((found - exact).abs() <= allowed, "{ohm} Ω from {from} to {to}: {found}, exactly {exact} A");
        }
    }
}
