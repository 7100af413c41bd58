//! The greatest likelihood that any hypothesis can reach, whatever it predicts.
//!
//! Every factor of the sum over alignments is replaced by one that no prediction exceeds; the sum of those is a bound. What
//! keeps it close: a step that turns one way has **one** power, so that the levels of a run cannot all be just that.
//! Powers are taken in bands, and their uncertainties too; in each band every level gets the best that the band allows,
//! and of the bands the best one counts, run by run.

use super::around::Around;
use super::chain::{Chain, Forward, Runs};
use super::emission::{ROOT_2PI, Stays, WIDE};
use super::habits::Habits;
use super::lengths::Table;
use super::pieces::{Pieces, Stretch};
use super::steps::{Frame, Odds, order_of};

/// Bands of power: this wide, W, up to twenty of them, then in proportion.
const BAND: (f64, f64) = (2.0, 1.12);
/// Bands of uncertainty, in proportion to the power and at least to 10 W.
const BANDS_U: [f64; 7] = [0.0, 0.02, 0.05, 0.1, 0.2, 0.4, f64::INFINITY];
/// A run that fits worse than this counts with this: far below what any sum is made of.
const LEAST: f64 = 1e-30;

/// Logarithm of the bound; `around` is as much as the time in no step can be, under any hypothesis.
pub(super) fn ln_ceiling(
    frames: &[Frame],
    pieces: &Pieces,
    doors: &[f64],
    around: &Around,
    habits: &Habits,
) -> f64 {
    let odds: Vec<Odds> = frames.iter().map(|f| Odds::any(f, habits)).collect();
    let mut fits: Vec<(f64, bool, Vec<Vec<f64>>)> = Vec::new();
    let mut steps: Vec<Runs> = Vec::new();
    for frame in frames {
        let known = fits.iter().position(|f| f.0 == frame.ramp_s && f.1 == frame.both_ways);
        let place = known.unwrap_or_else(|| {
            fits.push((frame.ramp_s, frame.both_ways, best_fits(frame, pieces, habits)));
            fits.len() - 1
        });
        steps.push(runs(frame, &fits[place].2, pieces, habits));
    }
    let mut all: Vec<&Runs> = steps.iter().collect();
    all.extend(std::iter::repeat_n(&around.pause, frames.len()));
    all.extend([&around.outside; 3]);
    let order = order_of(&odds, habits);
    let chain = Chain { pieces: pieces.len(), runs: &all, order: &order, doors };
    Forward::default().ln_sum(&chain).min(0.0)
}

/// Runs with the best fit and the best length.
fn runs(frame: &Frame, fits: &[Vec<f64>], pieces: &Pieces, habits: &Habits) -> Runs {
    let n = pieces.len();
    let table = Table::new(frame.length(habits));
    Runs::build(n, |from, row| {
        let start_s = pieces.at_s(from);
        let mut since = 0.0;
        for (k, fit) in fits[from].iter().enumerate() {
            let to = from + k + 1;
            let until = if to == n { f64::INFINITY } else { pieces.around_s(to).1 - start_s };
            let lasts = if frame.until {
                most_likely(since, until, habits)
            } else {
                table.beyond(since) - if to == n { 0.0 } else { table.beyond(until) }
            };
            row.push(fit * lasts);
            since = until;
        }
    })
}

/// Greatest probability to end between two times, s, whatever the median: for the log-logistic distribution the median at
/// √(t₁·t₂) is the best. The tables are straight between ticks of half a second, hence the half second on either side.
fn most_likely(from_s: f64, to_s: f64, habits: &Habits) -> f64 {
    let (from_s, to_s) = ((from_s - 0.5).max(0.0), to_s + 0.5);
    if from_s <= 0.0 || to_s.is_infinite() {
        return 1.0;
    }
    // The steepest distribution can come closest.
    let steep =
        [habits.timed, habits.reached, habits.pressed.0, habits.pressed.1].into_iter().fold(0.0, f64::max);
    let r = (from_s / to_s).powf(steep / 2.0);
    (1.0 - r) / (1.0 + r)
}

/// For each first piece the greatest fit of the runs from it, over all bands.
fn best_fits(frame: &Frame, pieces: &Pieces, habits: &Habits) -> Vec<Vec<f64>> {
    let n = pieces.len();
    let mut best: Vec<Vec<f64>> = (0..n).map(|from| vec![0.0; n - from]).collect();
    let mut bounds = Vec::new();
    let bands = if frame.both_ways { vec![Band::all()] } else { bands(pieces) };
    for band in &bands {
        bounds.clear();
        bounds.extend(band.bounds(frame, pieces, habits));
        for (from, best) in best.iter_mut().enumerate() {
            let mut fit = bounds[from].start;
            for (k, most) in best.iter_mut().enumerate() {
                *most = most.max(fit);
                let Some(piece) = pieces.pieces.get(from + k + 1) else { break };
                let inside = piece.stretch == pieces.pieces[from].stretch && !pieces.pieces[from].opens;
                let had = piece.again.is_some_and(|last| last >= from)
                    && (piece.opens || bounds[from + k + 1].again);
                if !inside && !had {
                    fit *= bounds[from + k + 1].on;
                }
                if fit < LEAST {
                    best[k + 1..].iter_mut().for_each(|m| *m = m.max(LEAST));
                    break;
                }
            }
        }
    }
    // A long tail of least fits is no longer than it must be.
    best
}

/// Bound on the factors of a piece.
struct Bound {
    start: f64,
    on: f64,
    again: bool,
}

/// Powers from, to, W, and uncertainties from, to, W.
#[derive(Clone, Copy, Debug)]
struct Band {
    power_w: (f64, f64),
    u_w: (f64, f64),
}

impl Band {
    fn all() -> Band {
        Band { power_w: (f64::NEG_INFINITY, f64::INFINITY), u_w: (0.0, f64::INFINITY) }
    }

    fn bounds<'a>(
        &'a self,
        frame: &'a Frame,
        pieces: &'a Pieces,
        habits: &'a Habits,
    ) -> impl Iterator<Item = Bound> + 'a {
        let mut so_far = 1.0;
        let mut parts = Parts::default();
        pieces.pieces.iter().map(move |piece| {
            let stretch = &pieces.stretches[piece.stretch];
            if stretch.hole {
                return Bound { start: 1.0, on: 1.0, again: false };
            }
            if piece.opens {
                parts = Parts::of(self, frame, stretch, habits);
                so_far = 1.0;
            }
            let seconds = piece.end_s - stretch.start_s;
            let fresh = (parts.level + parts.rest(seconds)).min(1.0);
            let on: f64 = fresh / so_far;
            so_far = fresh;
            let start = if piece.opens {
                fresh
            } else {
                (parts.kept + parts.rest(piece.end_s - piece.start_s)).min(1.0)
            };
            Bound { start, on: on.min(1.0), again: !piece.opens }
        })
    }
}

/// Bound on the parts of a stretch's mixture.
#[derive(Default)]
struct Parts {
    level: f64,
    kept: f64,
    others: Vec<(f64, Stays)>,
}

impl Parts {
    fn of(band: &Band, frame: &Frame, stretch: &Stretch, habits: &Habits) -> Parts {
        let (level, repeats) = (stretch.power_w, stretch.repeats_w);
        let off = (band.power_w.0 - level).max(level - band.power_w.1).max(0.0);
        // Powers as they are rounded for comparison may lie a little outside the band.
        let off = (off - 0.03 - 0.0005 * level.abs()).max(0.0);
        let nearest = if band.power_w.0.is_finite() { band.power_w.0.max(0.0) } else { 0.0 };
        let model = habits.model.0 * nearest;
        let least = (0.97 * band.u_w.0).hypot(model).hypot(habits.model.1).hypot(repeats);
        let most =
            (1.03 * band.u_w.1).hypot(habits.model.0 * band.power_w.1).hypot(habits.model.1).hypot(repeats);
        let share = 1.0 - habits.passing;
        // (σ/u)·exp(−off²/2u²) is greatest at u = off.
        let density = |times: f64| {
            let u = off.clamp(times * least, times * most);
            repeats / u * (-0.5 * (off / u).powi(2)).exp()
        };
        let near = |times: f64| (-0.5 * (off / (times * most)).powi(2)).exp();
        let mixed = |of: &dyn Fn(f64) -> f64| (1.0 - WIDE.0) * of(1.0) + WIDE.0 * of(WIDE.1);
        let base = ROOT_2PI * repeats;
        let flat = |range_w: f64| (base / range_w.max(base)).min(1.0);
        // A range that just takes in the level is the best for it.
        let passing = habits.passing * flat(level);
        let ramp = habits.passing_s.0.max(habits.passing_s.1 * frame.ramp_s);
        let others = vec![
            (passing, Stays::Mean(ramp)),
            (2.0 * passing, Stays::Up(habits.tries_s.0, habits.tries_s.1)),
            (
                habits.foreign * (ROOT_2PI / (3.0 * (habits.range_w / 5.0).ln())).min(1.0),
                Stays::Mean(habits.foreign_s),
            ),
            (habits.odd * flat(habits.range_w), Stays::Mean(habits.odd_s)),
        ];
        // Several levels that share the weight, as both ways of a drum do, come to no more than one that has all of it.
        Parts { level: share * mixed(&density), kept: share * mixed(&near) * self::levels(frame), others }
    }

    fn rest(&self, seconds: f64) -> f64 {
        self.others.iter().map(|(weight, stays)| weight * stays.for_s(seconds)).sum()
    }
}

/// Levels that a step can have at most, with a rest: a level that was there before counts for each.
fn levels(frame: &Frame) -> f64 {
    if frame.both_ways { 3.0 } else { 1.0 }
}

fn bands(pieces: &Pieces) -> Vec<Band> {
    let top = pieces.stretches.iter().map(|s| s.power_w.abs()).fold(0.0, f64::max);
    let mut edges = vec![f64::NEG_INFINITY];
    let mut edge = BAND.0;
    while edge < 1.5 * top + 10.0 {
        edges.push(edge);
        edge = if edge < 20.0 * BAND.0 { edge + BAND.0 } else { edge * BAND.1 };
    }
    edges.push(f64::INFINITY);
    let mut bands = Vec::new();
    for power in edges.windows(2) {
        let scale = if power[1].is_finite() { power[1].max(10.0) } else { f64::INFINITY };
        if scale.is_infinite() {
            bands.push(Band { power_w: (power[0], power[1]), u_w: (0.0, f64::INFINITY) });
            continue;
        }
        for u in BANDS_U.windows(2) {
            bands.push(Band { power_w: (power[0], power[1]), u_w: (u[0] * scale, u[1] * scale) });
        }
    }
    bands
}
