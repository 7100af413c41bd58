//! Single-phase power under nonsinusoidal conditions, IEEE Std 1459-2010, clause 3.1.2, in its symbols.

use std::f64::consts::{SQRT_2, TAU};

/// The highest harmonic computed.
const HIGHEST: usize = 40;

/// Power quantities of a stretch of whole cycles.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Power {
    /// RMS voltage V, V.
    pub v: f64,
    /// RMS current I, A.
    pub i: f64,
    /// Fundamental voltage V₁, V.
    pub v1: f64,
    /// Fundamental current I₁, A.
    pub i1: f64,
    /// Active power P, W.
    pub p: f64,
    /// Fundamental active power P₁ = V₁ I₁ cos θ₁, W.
    pub p1: f64,
    /// Harmonic active power P_H = P − P₁, W.
    pub ph: f64,
    /// Fundamental reactive power Q₁ = V₁ I₁ sin θ₁, var; positive where the current lags.
    pub q1: f64,
    /// Apparent power S = V I, VA.
    pub s: f64,
    /// Fundamental apparent power S₁ = V₁ I₁, VA.
    pub s1: f64,
    /// Nonfundamental apparent power S_N = √(S² − S₁²), VA.
    pub sn: f64,
    /// Current distortion power D_I = V₁ I_H, var.
    pub di: f64,
    /// Voltage distortion power D_V = V_H I₁, var.
    pub dv: f64,
    /// Harmonic apparent power S_H = V_H I_H, VA.
    pub sh: f64,
    /// Harmonic distortion power D_H = √(S_H² − P_H²), var.
    pub dh: f64,
    /// Nonactive power N = √(S² − P²), var.
    pub n: f64,
    /// Power factor P/S; 0 where no current flows.
    pub pf: f64,
    /// Fundamental power factor P₁/S₁; 0 where no current flows.
    pub pf1: f64,
    /// Total harmonic distortion of the voltage V_H/V₁.
    pub thd_v: f64,
    /// Total harmonic distortion of the current I_H/I₁; 0 where no current flows.
    pub thd_i: f64,
}

/// One harmonic of voltage and current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Harmonic {
    /// Its order: 1 is the fundamental.
    pub order: usize,
    /// RMS voltage, V.
    pub voltage_v: f64,
    /// RMS current, A.
    pub current_a: f64,
    /// By how much the current lags the voltage, rad, −π to π.
    pub lag_rad: f64,
    /// Active power, W.
    pub power_w: f64,
}

/// A stretch of whole cycles, from and to a part of a sample.
pub(super) struct Span<'w> {
    pub(super) voltage: &'w [f64],
    pub(super) current: &'w [f64],
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) cycles: f64,
}

/// Real and imaginary part.
type Phasor = (f64, f64);

fn over(a: f64, b: f64) -> f64 {
    if b > 0.0 { a / b } else { 0.0 }
}

/// √(a² − b²), where rounding may make it the root of just below nothing.
fn leg(a: f64, b: f64) -> f64 {
    (a * a - b * b).max(0.0).sqrt()
}

impl Span<'_> {
    /// The power quantities of this stretch.
    pub(super) fn power(&self) -> Power {
        let [v2, i2, p] = self
            .mean(|k| [self.voltage[k].powi(2), self.current[k].powi(2), self.voltage[k] * self.current[k]]);
        let first = self.harmonic(1);
        let (v, i, v1, i1) = (v2.sqrt(), i2.sqrt(), first.voltage_v, first.current_a);
        let (vh, ih) = (leg(v, v1), leg(i, i1));
        let (s, s1, sh) = (v * i, v1 * i1, vh * ih);
        let (p1, q1) = (first.power_w, s1 * first.lag_rad.sin());
        let ph = p - p1;
        Power {
            v,
            i,
            v1,
            i1,
            p,
            p1,
            ph,
            q1,
            s,
            s1,
            sn: leg(s, s1),
            di: v1 * ih,
            dv: vh * i1,
            sh,
            dh: leg(sh, ph),
            n: leg(s, p),
            pf: over(p, s),
            pf1: over(p1, s1),
            thd_v: over(vh, v1),
            thd_i: over(ih, i1),
        }
    }

    /// All harmonics below half the sampling rate, to the 40th.
    pub(super) fn harmonics(&self) -> Vec<Harmonic> {
        let per_cycle = (self.to - self.from) / self.cycles;
        (1..=HIGHEST).take_while(|&h| (h as f64) < per_cycle / 2.0).map(|h| self.harmonic(h)).collect()
    }

    fn harmonic(&self, order: usize) -> Harmonic {
        let [v, i] = self.phasors(order);
        let (voltage_v, current_a) = (v.0.hypot(v.1), i.0.hypot(i.1));
        // V times the conjugate of I: its angle is how far the current lags.
        let (p, q) = (v.0 * i.0 + v.1 * i.1, v.1 * i.0 - v.0 * i.1);
        Harmonic { order, voltage_v, current_a, lag_rad: q.atan2(p), power_w: p }
    }

    /// RMS phasors of both channels at a multiple of the mains frequency.
    fn phasors(&self, order: usize) -> [Phasor; 2] {
        let turn = TAU * order as f64 * self.cycles / (self.to - self.from);
        let (step_sin, step_cos) = turn.sin_cos();
        let mut at = usize::MAX;
        let (mut sin, mut cos) = (0.0, 1.0);
        let [vr, vi, ir, ii] = self.mean(|k| {
            // Turned on from sample to sample, and set right every 256th: rounding does not add up.
            if at != usize::MAX && k == at + 1 && k % 256 != 0 {
                (sin, cos) = (sin * step_cos + cos * step_sin, cos * step_cos - sin * step_sin);
            } else {
                (sin, cos) = (turn * (k as f64 - self.from)).sin_cos();
            }
            at = k;
            let (v, i) = (self.voltage[k] * SQRT_2, self.current[k] * SQRT_2);
            [v * cos, -v * sin, i * cos, -i * sin]
        });
        [(vr, vi), (ir, ii)]
    }

    /// Means over the stretch by the trapezoid rule, its ends between two samples. For signals of whole periods the
    /// rule is exact up to the harmonics that the sampling can show.
    fn mean<const N: usize>(&self, mut of: impl FnMut(usize) -> [f64; N]) -> [f64; N] {
        let (low, high) = (self.from.floor() as usize, self.to.floor() as usize);
        let last = self.voltage.len().min(self.current.len()).saturating_sub(1);
        let (part_low, part_high) = (self.from - low as f64, self.to - high as f64);
        let mut sum = [0.0; N];
        for k in low..=(high + 1).min(last) {
            let weight = weight(k, low, high, part_low, part_high);
            if weight != 0.0 {
                for (sum, value) in sum.iter_mut().zip(of(k)) {
                    *sum += weight * value;
                }
            }
        }
        sum.map(|s| s / (self.to - self.from))
    }
}

/// The weight of sample k in the integral of the polyline from low + a to high + b.
fn weight(k: usize, low: usize, high: usize, a: f64, b: f64) -> f64 {
    // ∫ of the falling or rising half of a hat function from a part of the way.
    let falling = |x: f64| x - x * x / 2.0;
    let rising = |x: f64| x * x / 2.0;
    let mut weight = if k > low && k <= high {
        1.0
    } else if k == low {
        0.5
    } else {
        0.0
    };
    weight -= if k == low {
        falling(a)
    } else if k == low + 1 {
        rising(a)
    } else {
        0.0
    };
    weight -= if k == high { 0.5 - falling(b) } else { 0.0 };
    weight + if k == high + 1 { rising(b) } else { 0.0 }
}
