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

use super::habits::{Habits, LEAST_W};
use super::pieces::{Pieces, Stretch};
use super::steps::DEAD;
use bench::Estimate;

pub(super) const ROOT_2PI: f64 = 2.506_628_274_631_000_5;
/// Share of the wide part of a level's density, and how much wider it is: one machine in so many is not as its file says.
/// Chosen by how made-up cases came out; no source.
pub(super) const WIDE: (f64, f64) = (0.15, 2.0);
/// Standard uncertainty of what stands by of a dead machine, W. Chosen; no source.
const STANDS_BY_U: f64 = 1.0;

/// What the recording is held against.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Profile {
    /// Levels of the step; none for the time outside the steps, which has `idle` alone.
    pub levels: Vec<Estimate>,
    /// A drum that turns both ways rests in between, with this power.
    pub rest: Option<Estimate>,
    /// Time to come up to speed, s.
    pub ramp_s: f64,
    /// Power before a guard stopped it, W.
    pub tried_w: Option<f64>,
    /// What is on the way to another level draws at least this, W.
    pub floor_w: f64,
    /// It is the time before or after the test: another load comes and goes in it as it likes.
    pub outside: bool,
    /// It is time in no step of a dead machine, of which something between these still stands by, W: all else is another's.
    pub dead: Option<(f64, f64)>,
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

#[derive(Clone, Copy, Debug)]
struct Role {
    /// Weight times density, relative to a repeated level.
    fresh: f64,
    /// The same without the width of the prediction: a level that a step before had already.
    kept: f64,
    stays: Stays,
    /// Not the step's own.
    foreign: bool,
}

#[derive(Clone, Copy, Debug)]
pub(super) enum Stays {
    Always,
    /// So many seconds on average.
    Mean(f64),
    /// So long as a matter of course, then becoming rare.
    Up(f64, f64),
}

impl Stays {
    pub(super) fn for_s(self, seconds: f64) -> f64 {
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
        let mut scale = Scale::default();
        for piece in &pieces.pieces {
            let stretch = &pieces.stretches[piece.stretch];
            if piece.opens {
                scale.open(profile, stretch, habits);
            }
            let one = scale.piece(piece.start_s - stretch.start_s, piece.end_s - stretch.start_s);
            all.start.push(one.start);
            all.on.push(one.on);
            all.again.push(one.again);
        }
        all
    }
}

/// Factors of one piece, as in [`Factors`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Factor {
    pub start: f64,
    pub on: f64,
    pub again: f64,
}

/// Holds the pieces of one stretch after the other against a profile.
#[derive(Clone, Debug, Default)]
pub(super) struct Scale {
    roles: Vec<Role>,
    hole: bool,
    /// Factor of the stretch up to the last piece.
    so_far: f64,
}

impl Scale {
    /// Takes up a stretch.
    pub(super) fn open(&mut self, profile: &Profile, stretch: &Stretch, habits: &Habits) {
        self.hole = stretch.hole;
        self.so_far = 1.0;
        if !stretch.hole {
            profile.roles(stretch, habits, &mut self.roles);
        }
    }

    /// Its next piece, from and to so many seconds after its start.
    pub(super) fn piece(&mut self, from_s: f64, to_s: f64) -> Factor {
        if self.hole {
            return Factor { start: 1.0, on: 1.0, again: 1.0 };
        }
        let mixed = |weight: fn(&Role) -> f64, seconds: f64| -> f64 {
            let all = self.roles.iter().map(|r| weight(r) * r.stays.for_s(seconds));
            all.sum::<f64>().clamp(1e-300, 1.0)
        };
        let fresh = mixed(|r| r.fresh, to_s);
        let factor = if from_s <= 0.0 {
            // A level that the run has had already has its roles as the level makes them probable.
            Factor { start: fresh, on: fresh, again: (fresh / mixed(|r| r.fresh, 0.0)).min(1.0) }
        } else {
            let on = (fresh / self.so_far).min(1.0);
            Factor { start: mixed(|r| r.kept, to_s - from_s), on, again: on }
        };
        self.so_far = fresh;
        factor
    }
}

impl Profile {
    /// The time before and after the test: off, or electronics at about `idle`.
    pub(super) fn outside(idle_w: f64) -> Profile {
        let level = |value, u| Estimate { value, u };
        let levels = vec![
            level(0.0, 0.5),
            // A board without supply leaves what else stands by.
            level(0.5 * idle_w, 0.4 * idle_w),
            level(idle_w, 0.25 * idle_w + 0.5),
        ];
        let floor_w = f64::NEG_INFINITY;
        Profile { levels, rest: None, ramp_s: 0.0, tried_w: None, floor_w, outside: true, dead: None }
    }

    /// A pause between steps: a machine that was switched off has left its test.
    pub(super) fn pause(idle_w: f64) -> Profile {
        let levels = vec![Estimate { value: idle_w, u: 0.1 * idle_w + 0.3 }];
        let floor_w = DEAD * idle_w;
        Profile { levels, rest: None, ramp_s: 0.0, tried_w: None, floor_w, outside: false, dead: None }
    }

    /// A pause, and the time before and after the test, of a dead machine.
    pub(super) fn around_dead(stands_by_w: (f64, f64)) -> [Profile; 2] {
        [false, true].map(|outside| Profile {
            levels: vec![Estimate { value: 0.0, u: 0.5 }],
            rest: None,
            ramp_s: 0.0,
            tried_w: None,
            floor_w: f64::NEG_INFINITY,
            outside,
            dead: Some(stands_by_w),
        })
    }

    fn roles(&self, stretch: &Stretch, habits: &Habits, roles: &mut Vec<Role>) {
        roles.clear();
        let (level, repeats) = (stretch.power_w, stretch.repeats_w);
        let base = ROOT_2PI * repeats;
        let flat = |range_w: f64| (base / range_w.max(base)).min(1.0);
        let top = self.levels.iter().map(|l| l.value.abs()).fold(0.0, f64::max);
        let besides = usize::from(self.rest.is_some()) + usize::from(self.dead.is_some());
        let share = (1.0 - habits.passing) / (self.levels.len() + besides).max(1) as f64;
        let mut at = |one: &Estimate, stays: Stays, likely: f64| {
            // What stands by is wide enough.
            let model = if self.dead.is_some() { 0.0 } else { habits.model.0 * one.value.abs() };
            let u = one.u.hypot(model).hypot(habits.model.1).hypot(repeats);
            let off = level - one.value;
            let normal = |u: f64| (-0.5 * (off / u).powi(2)).exp();
            let wide = WIDE.1 * u;
            let fresh = repeats / u * (1.0 - WIDE.0) * normal(u) + repeats / wide * WIDE.0 * normal(wide);
            let kept = (1.0 - WIDE.0) * normal(u) + WIDE.0 * normal(wide);
            roles.push(Role {
                fresh: likely * share * fresh,
                kept: likely * (1.0 - habits.passing) * kept,
                stays,
                foreign: false,
            });
        };
        let seconds = stretch.end_s - stretch.start_s;
        for one in &self.levels {
            // A turn in which nothing turns is as long as a turn and the rests around it; one that is longer than turns are is
            // the drum's only where the recording does not show its rests.
            let idle_turn = self.rest.is_some_and(|r| one.value < r.value + 0.2 * (top - r.value));
            let likely = if idle_turn { (seconds / habits.idle_turn_s).powi(3).min(1.0) } else { 1.0 };
            let (free, mean) = habits.idle_turn_most_s;
            if self.rest.is_none() {
                at(one, Stays::Always, 1.0);
            } else if idle_turn {
                at(one, Stays::Up(free, mean), likely);
            } else {
                at(one, Stays::Up(free, mean), 1.0 - habits.rests_unseen);
                at(one, Stays::Always, habits.rests_unseen);
            }
        }
        if let Some((low, high)) = self.dead {
            at(&Estimate { value: level.clamp(low, high), u: STANDS_BY_U }, Stays::Always, 1.0);
        }
        if let Some(rest) = &self.rest {
            at(rest, Stays::Up(habits.rest_s.0, habits.rest_s.1), 1.0);
        }
        let reach = if self.ramp_s > 0.0 { habits.peak } else { 1.2 } * top + 10.0;
        if level <= reach && level >= self.floor_w - 0.5 * repeats {
            let stays = Stays::Mean(habits.passing_s.0.max(habits.passing_s.1 * self.ramp_s));
            let weight = habits.passing * flat(reach);
            roles.push(Role { fresh: weight, kept: weight, stays, foreign: false });
        }
        let tried_to = self.tried_w.map_or(0.0, |w| 1.3 * w + 10.0);
        if level <= tried_to {
            let weight = 2.0 * habits.passing * flat(tried_to);
            let stays = Stays::Up(habits.tries_s.0, habits.tries_s.1);
            roles.push(Role { fresh: weight, kept: weight, stays, foreign: false });
        }
        let least = self.levels.iter().map(|l| l.value.abs()).fold(f64::INFINITY, f64::min);
        let beside = level - least;
        let rare = if self.dead.is_some() { habits.beside_dead } else { 1.0 };
        if beside > 3.0 * repeats {
            // Even on the scale of ln W, from 5 W to what a socket gives.
            let per_w = 1.0 / (beside * (habits.range_w / 5.0).ln());
            let strong = self.outside && beside >= LEAST_W;
            let comes = if strong { habits.foreign_outside } else { habits.foreign * rare };
            let weight = comes * (base * per_w).min(1.0);
            roles.push(Role {
                fresh: weight,
                kept: weight,
                stays: Stays::Mean(habits.foreign_s),
                foreign: true,
            });
        }
        let weight = habits.odd * rare * flat(habits.range_w);
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
