//! How well pieces of the recording fit a step.
//!
//! A stretch within a step has one of a few **roles**: the power of the step (or of one of its directions), a rest of a
//! drum between turns, on the way from one level to the next, with another load on the same meter, or odd. Each role
//! has a density for the level and a chance to last; the roles are mixed.
//!
//! The uncertainty of a predicted power is almost all of one piece: a strong heater is strong all the while. So only
//! the first stretch at a level is held against the prediction, at the full width of its uncertainty; further stretches
//! at that level in the same run follow from it and cost nothing but their time. A step of 50 s counts as one reading.
//!
//! All densities are taken relative to that of a level that repeats exactly (normal, as wide as it repeats), which is
//! the same under every hypothesis. So no factor is above 1, and no sum over alignments either.

use super::habits::Habits;
use super::pieces::{Pieces, Stretch};
use bench::Estimate;

const ROOT_2PI: f64 = 2.506_628_274_631_000_5;
/// Share of the wide part of a level's density, and how much wider it is.
const WIDE: (f64, f64) = (0.05, 2.0);

/// What the recording is held against.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Profile {
    /// Levels of the step; none for the time outside the steps, which has `idle` alone.
    pub levels: Vec<Estimate>,
    /// A drum that turns both ways rests in between.
    pub rests: bool,
    /// Time to come up to speed, s.
    pub ramp_s: f64,
    /// Power before a guard stopped it, W.
    pub tried_w: Option<f64>,
}

/// Factors of a profile on each piece.
#[derive(Clone, Debug)]
pub(super) struct Factors {
    /// A step that starts with this piece.
    pub start: Vec<f64>,
    /// A step that goes on through it, the level being new to the step or the stretch the same as before.
    pub on: Vec<f64>,
    /// A step that goes on with a stretch whose level it has had before.
    pub again: Vec<f64>,
}

#[derive(Clone, Copy)]
struct Role {
    /// Weight times density, relative to a repeated level.
    fresh: f64,
    /// The same without the width of the prediction: a level that a step before had already.
    kept: f64,
    stays: Stays,
    /// Not the step's own.
    foreign: bool,
}

#[derive(Clone, Copy)]
enum Stays {
    Always,
    /// So many seconds on average.
    Mean(f64),
    /// So long as a matter of course, then becoming rare.
    Up(f64, f64),
}

impl Stays {
    fn for_s(self, seconds: f64) -> f64 {
        match self {
            Stays::Always => 1.0,
            Stays::Mean(mean) => (-seconds / mean).exp(),
            Stays::Up(free, mean) => (-(seconds - free).max(0.0) / mean).exp(),
        }
    }
}

impl Factors {
    pub(super) fn of(profile: &Profile, pieces: &Pieces, habits: &Habits) -> Factors {
        let mut all = Factors { start: Vec::new(), on: Vec::new(), again: Vec::new() };
        let mut roles = Vec::new();
        let mut so_far = (1.0, 1.0, 1.0);
        for piece in &pieces.pieces {
            let stretch = &pieces.stretches[piece.stretch];
            if stretch.hole {
                for list in [&mut all.start, &mut all.on, &mut all.again] {
                    list.push(1.0);
                }
                continue;
            }
            if piece.opens {
                profile.roles(stretch, habits, &mut roles);
                so_far = (1.0, 1.0, 1.0);
            }
            let (before, after) = (piece.start_s - stretch.start_s, piece.end_s - stretch.start_s);
            let mixed = |weight: fn(&Role) -> f64, seconds: f64| -> f64 {
                roles.iter().map(|r| weight(r) * r.stays.for_s(seconds)).sum::<f64>().clamp(1e-300, 1.0)
            };
            let fresh = mixed(|r| r.fresh, after);
            let kept = mixed(|r| r.kept, after);
            // The mixture of a level that the run has had already: its roles as the level makes them probable.
            let (level, kept_now) = (mixed(|r| r.fresh, 0.0), mixed(|r| r.kept, after - before));
            let again = (fresh / level).min(1.0);
            if piece.opens {
                all.start.push(fresh);
                all.on.push(fresh);
                all.again.push(again);
            } else {
                all.start.push(kept_now);
                let goes_on = (fresh / so_far.0).min(1.0);
                all.on.push(goes_on);
                all.again.push(goes_on);
            }
            so_far = (fresh, kept, again);
        }
        all
    }
}

impl Profile {
    /// The time outside the steps: off, or electronics at about `idle`.
    pub(super) fn outside(idle_w: f64) -> Profile {
        let level = |value, u| Estimate { value, u };
        Profile {
            levels: vec![
                level(0.0, 0.5),
                // A board without supply leaves what else stands by.
                level(0.5 * idle_w, 0.4 * idle_w),
                level(idle_w, 0.25 * idle_w + 0.5),
            ],
            rests: true,
            ramp_s: 0.0,
            tried_w: None,
        }
    }

    fn roles(&self, stretch: &Stretch, habits: &Habits, roles: &mut Vec<Role>) {
        roles.clear();
        let (level, repeats) = (stretch.power_w, stretch.repeats_w);
        let base = ROOT_2PI * repeats;
        let flat = |range_w: f64| (base / range_w.max(base)).min(1.0);
        let top = self.levels.iter().map(|l| l.value.abs()).fold(0.0, f64::max);
        let passing = habits.passing * if self.rests { 2.0 } else { 1.0 };
        let share = (1.0 - passing) / self.levels.len().max(1) as f64;
        let mut nearest = f64::INFINITY;
        for one in &self.levels {
            let model = habits.model.0 * one.value.abs();
            let u = one.u.hypot(model).hypot(habits.model.1).hypot(repeats);
            let off = level - one.value;
            let normal = |u: f64| (-0.5 * (off / u).powi(2)).exp();
            let wide = WIDE.1 * u;
            let fresh = repeats / u * (1.0 - WIDE.0) * normal(u) + repeats / wide * WIDE.0 * normal(wide);
            let kept = (1.0 - WIDE.0) * normal(u) + WIDE.0 * normal(wide);
            roles.push(Role {
                fresh: share * fresh,
                kept: (1.0 - passing) * kept,
                stays: Stays::Always,
                foreign: false,
            });
            nearest = nearest.min(off.abs() / u);
        }
        let reach = if self.ramp_s > 0.0 { habits.peak } else { 1.2 } * top + 10.0;
        if level <= reach && level >= -3.0 * repeats {
            let stays = Stays::Mean(habits.passing_s.0.max(habits.passing_s.1 * self.ramp_s));
            let weight = habits.passing * flat(reach);
            roles.push(Role { fresh: weight, kept: weight, stays, foreign: false });
            if self.rests {
                let stays = Stays::Up(habits.rest_s.0, habits.rest_s.1);
                roles.push(Role { fresh: weight, kept: weight, stays, foreign: false });
            }
        }
        let tried_to = self.tried_w.map_or(0.0, |w| 1.3 * w + 10.0);
        if level <= tried_to {
            let weight = 2.0 * habits.passing * flat(tried_to);
            let stays = Stays::Up(habits.tries_s.0, habits.tries_s.1);
            roles.push(Role { fresh: weight, kept: weight, stays, foreign: false });
        }
        let least = self.levels.iter().map(|l| l.value.abs()).fold(f64::INFINITY, f64::min);
        let beside = level - least;
        if beside > 3.0 * repeats {
            // Even on the scale of ln W, from 5 W to what a socket gives.
            let per_w = 1.0 / (beside * (habits.range_w / 5.0).ln());
            let weight = habits.foreign * (base * per_w).min(1.0);
            roles.push(Role {
                fresh: weight,
                kept: weight,
                stays: Stays::Mean(habits.foreign_s),
                foreign: true,
            });
        }
        let weight = habits.odd * flat(habits.range_w);
        roles.push(Role { fresh: weight, kept: weight, stays: Stays::Mean(habits.odd_s), foreign: true });
    }
}

impl Profile {
    /// Is a stretch likelier another load's, or odd, than the step's own?
    pub(super) fn is_foreign(&self, stretch: &Stretch, seconds: f64, habits: &Habits) -> bool {
        let mut roles = Vec::new();
        self.roles(stretch, habits, &mut roles);
        let weight = |foreign: bool| -> f64 {
            let of = roles.iter().filter(|r| r.foreign == foreign);
            of.map(|r| r.fresh * r.stays.for_s(seconds)).sum()
        };
        weight(true) > weight(false)
    }
}
