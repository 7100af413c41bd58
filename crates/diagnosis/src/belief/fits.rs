//! How well what was told fits a case: over all that may have shown of faults that show only sometimes.

use super::account::{Account, Occasion, Told};
use super::predictions::over_waters;
use super::worlds::World;
use super::{Case, Fit, prior, weigh};
use crate::evidence::Clue;
use bench::Hypothesis;
use machine::model::Machine;

impl Account<'_> {
    /// How well one thing told fits a case.
    pub(super) fn fit(&self, world: &mut World<'_>, item: usize, case: &Case) -> Fit {
        if case.sometimes.is_empty() || self.clue(item).is_some_and(weigh::about_looks) {
            return self.fit_showing(world, item, &case.faults);
        }
        if self.clue(item).is_some_and(weigh::about_showing) {
            return self.fit_showing(world, item, &case.shown(self.machine));
        }
        let within = self.comes_and_goes(world, item, case).map(|ln| Fit { ln, slip: 0.0 });
        let rest = if within.is_some() { 1.0 - prior::COMES_AND_GOES } else { 1.0 };
        let each =
            showings(self.machine, case).map(|(p, seen)| (rest * p, self.fit_showing(world, item, &seen)));
        Fit::mixed(each.chain(within.map(|fit| (prior::COMES_AND_GOES, fit))))
    }

    /// How likely the trace is where the one fault of a case comes and goes within it; none for anything else. (Of several
    /// it would cost much and tell little.)
    fn comes_and_goes(&self, world: &mut World<'_>, item: usize, case: &Case) -> Option<f64> {
        let World { predictions, aligner, comes_and_goes, .. } = world;
        let aligner = aligner.as_mut().filter(|_| self.told[item].clue.is_none())?;
        if case.faults.faults().len() != 1 {
            return None;
        }
        let shown = case.shown(self.machine);
        if let Some(&known) = comes_and_goes.get(&shown) {
            return Some(known);
        }
        let (with, without) = (predictions.test(&shown), predictions.test(&Hypothesis::healthy()));
        let ln = aligner.ln_likelihood_of_either(&with, &without, predictions.sweep());
        comes_and_goes.insert(shown, ln);
        Some(ln)
    }

    /// Natural logarithm of an occasion's likelihood under a case, as far as it is credited.
    pub(super) fn credited(&self, world: &mut World<'_>, at: usize, case: &Case) -> f64 {
        let Occasion { told, most, .. } = &self.occasions[at];
        let by_moment = |c: &Clue| !weigh::about_showing(c) && !weigh::about_looks(c);
        let together = |world: &mut World<'_>, faults: &Hypothesis| {
            told.iter().map(|&t| self.fit_showing(world, t, faults).ln).sum::<f64>().min(*most)
        };
        if case.sometimes.is_empty() {
            return together(world, &case.faults);
        }
        if let [one] = told[..]
            && self.clue(one).is_some_and(|c| !by_moment(c))
        {
            return self.fit(world, one, case).ln.min(*most);
        }
        let over_all: f64 =
            showings(self.machine, case).map(|(p, seen)| p * (together(world, &seen) - most).exp()).sum();
        let Some(within) = told.first().and_then(|&t| self.comes_and_goes(world, t, case)) else {
            return most + over_all.ln();
        };
        let share = prior::COMES_AND_GOES;
        most + ((1.0 - share) * over_all + share * (within.min(*most) - most).exp()).ln()
    }

    pub(super) fn fit_showing(&self, world: &mut World<'_>, item: usize, faults: &Hypothesis) -> Fit {
        let Told { clue, mended } = &self.told[item];
        let World { predictions, aligner, fits, .. } = world;
        let left;
        let faults = if faults.faults().iter().any(|f| mended.contains(&f.0)) {
            left = Hypothesis::of(faults.faults().iter().filter(|f| !mended.contains(&f.0)).copied());
            &left
        } else {
            faults
        };
        if let Some(clue @ Clue::Ohms(_)) = clue {
            // A meter keeps what it shows itself, by the few faults that it can tell apart.
            return weigh::weigh(self.machine, &self.setup, predictions, clue, faults);
        }
        if let Some(known) = fits[item].get(faults) {
            return *known;
        }
        let fit = match (clue, aligner) {
            (Some(clue), _) => weigh::weigh(self.machine, &self.setup, predictions, clue, faults),
            (None, Some(aligner)) => {
                let steps = predictions.test(faults);
                let plain = |ln| Fit { ln, slip: 0.0 };
                let usual = plain(aligner.ln_likelihood(&steps, predictions.sweep()));
                let waters = predictions.by_water(faults);
                let others = waters.iter().flat_map(|w| w.iter());
                over_waters(usual, others.map(|test| plain(aligner.ln_likelihood(test, predictions.sweep()))))
            }
            (None, None) => Fit { ln: 0.0, slip: 0.0 },
        };
        fits[item].insert(faults.clone(), fit);
        fit
    }
}

/// All that may have shown on one occasion, with the probability of each.
fn showings<'c>(machine: &'c Machine, case: &'c Case) -> impl Iterator<Item = (f64, Hypothesis)> + 'c {
    let shown = case.shown(machine);
    let fitful = case.sometimes.len().min(8);
    (0..1_u32 << fitful).map(move |showing| {
        let hidden = |place: usize| {
            case.sometimes.iter().position(|s| *s == place).is_some_and(|bit| showing >> bit & 1 == 0)
        };
        let seen = shown.faults().iter().enumerate().filter(|(i, _)| !hidden(*i)).map(|(_, f)| *f);
        let ways = showing.count_ones() as i32;
        let p = prior::SHOWS_SOMETIMES.powi(ways) * (1.0 - prior::SHOWS_SOMETIMES).powi(fitful as i32 - ways);
        (p, Hypothesis::of(seen))
    })
}
