//! What a solved network says.

use num_complex::Complex64;

use crate::{BranchId, NodeId};

/// Voltages and currents of a solved network, effective values; phases are against the supply's open-circuit voltage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Solution {
    pub(crate) merged: Vec<u32>,
    pub(crate) potential: Vec<Complex64>,
    pub(crate) island: Vec<u32>,
    pub(crate) current: Vec<Complex64>,
    pub(crate) drop: Vec<Complex64>,
    pub(crate) plug: Plug,
    pub(crate) plug_current: Complex64,
}

/// What a power meter at the plug shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Plug {
    /// Voltage between line and neutral under load, V.
    pub voltage_v: f64,
    /// Line current, A.
    pub current_a: f64,
    /// Active power, W.
    pub power_w: f64,
    /// Apparent power, VA.
    pub apparent_va: f64,
    /// Active over apparent power, 0 … 1; none where nothing flows.
    pub power_factor: Option<f64>,
}

impl Plug {
    /// From the voltage and current at the plug, effective values as phasors.
    pub fn new(voltage: Complex64, current: Complex64) -> Self {
        let (voltage_v, current_a) = (voltage.norm(), current.norm());
        let power_w = (voltage * current.conj()).re;
        let apparent_va = voltage_v * current_a;
        let power_factor = (apparent_va > 0.0).then(|| (power_w / apparent_va).clamp(0.0, 1.0));
        Self { voltage_v, current_a, power_w, apparent_va, power_factor }
    }
}

impl Solution {
    /// Voltage of `a` against `b`, in V; good to 10⁻¹² of the supply's.
    /// `None` where no path at all joins them, so that a meter would show a chance value, and for unknown nodes.
    pub fn voltage_between(&self, a: NodeId, b: NodeId) -> Option<Complex64> {
        let a = *self.merged.get(a.index())? as usize;
        let b = *self.merged.get(b.index())? as usize;
        (self.island[a] == self.island[b]).then(|| self.potential[a] - self.potential[b])
    }

    /// [`Solution::voltage_between`] of each node, in order, against `reference`.
    pub fn voltages_against(&self, reference: NodeId) -> impl Iterator<Item = Option<Complex64>> + '_ {
        let zero = self.merged.get(reference.index()).map(|&at| at as usize);
        let zero = zero.map(|at| (self.island[at], self.potential[at]));
        self.merged.iter().map(move |&at| {
            let (island, against) = zero?;
            (self.island[at as usize] == island).then(|| self.potential[at as usize] - against)
        })
    }

    /// Current through a branch in its own direction, in A; 0 for an unknown branch.
    /// Good to 10⁻⁹ of itself or 10⁻¹⁵ of the plug's current, whichever is more (`tests/accuracy.rs`).
    ///
    /// In loops of shorts alone (two wires in parallel) the current splits as if all had the same resistance.
    pub fn current(&self, branch: BranchId) -> Complex64 {
        self.current.get(branch.index()).copied().unwrap_or_default()
    }

    /// Complex power that a branch takes up, in VA: real part in W, imaginary part in var (positive for a coil).
    pub fn power(&self, branch: BranchId) -> Complex64 {
        self.drop.get(branch.index()).copied().unwrap_or_default() * self.current(branch).conj()
    }

    /// Voltage across a branch in its own direction, in V; 0 for an unknown branch.
    pub fn drop(&self, branch: BranchId) -> Complex64 {
        self.drop.get(branch.index()).copied().unwrap_or_default()
    }

    /// Current that the plug takes in, as a phasor against the supply's open-circuit voltage, A.
    pub fn plug_current(&self) -> Complex64 {
        self.plug_current
    }

    /// What a power meter at the plug shows.
    pub fn plug(&self) -> Plug {
        self.plug
    }
}
