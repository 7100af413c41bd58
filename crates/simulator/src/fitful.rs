//! Faults that come and go.

use crate::dice::Dice;
use bench::Hypothesis;
use machine::model::Machine;

/// Share of the time in which such a fault shows, where the setting says nothing. Common practice, no source.
const SHARE: (f64, f64) = (0.15, 0.5);

/// A hypothesis in its two guises.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Guises {
    /// While all of it shows: a wire that is intermittent is open.
    pub(crate) shown: Hypothesis,
    /// While what comes and goes is gone.
    pub(crate) hidden: Hypothesis,
    /// Share of the time in which all shows.
    pub(crate) share: f64,
}

/// With `share` set all faults come and go together; else only those whose mode says so.
pub(crate) fn guises(
    machine: &Machine,
    hypothesis: &Hypothesis,
    share: Option<f64>,
    dice: &mut Dice,
) -> Guises {
    let shows_as = |part: usize, mode: usize| machine.parts[part].kind.shows_as(mode);
    let faults = hypothesis.faults();
    let shown = Hypothesis::of(faults.iter().map(|&(p, m)| (p, shows_as(p, m).unwrap_or(m))));
    let lasting = Hypothesis::of(faults.iter().copied().filter(|&(p, m)| shows_as(p, m).is_none()));
    let drawn = dice.between(SHARE.0, SHARE.1);
    match share {
        Some(share) => Guises { shown, hidden: Hypothesis::healthy(), share: share.clamp(0.0, 1.0) },
        None if lasting == shown => Guises { shown, hidden: lasting, share: 1.0 },
        None => Guises { shown, hidden: lasting, share: drawn },
    }
}

/// Flips between the two guises as time goes on.
pub(crate) struct Fitful {
    pub(crate) guises: Guises,
    shows: bool,
    until_s: f64,
    /// Stretches in which all showed; empty where it always does.
    pub(crate) shown: Vec<(f64, f64)>,
}

/// Mean length of the rarer of the two, s. Common practice, no source.
const STAYS_S: f64 = 30.0;

impl Fitful {
    pub(crate) fn new(guises: Guises, dice: &mut Dice) -> Fitful {
        let shows = dice.chance(guises.share);
        Fitful { guises, shows, until_s: 0.0, shown: Vec::new() }
    }

    /// The guise at a time, and until when it stays. Times must not decrease.
    pub(crate) fn at(&mut self, now_s: f64, dice: &mut Dice) -> (&Hypothesis, f64) {
        let share = self.guises.share;
        if share >= 1.0 {
            return (&self.guises.shown, f64::INFINITY);
        }
        if share <= 0.0 {
            return (&self.guises.hidden, f64::INFINITY);
        }
        while self.until_s <= now_s {
            self.shows ^= self.until_s > 0.0;
            let this = if self.shows { share } else { 1.0 - share };
            let stay_s = dice.wait(STAYS_S * this / share.min(1.0 - share)).max(1e-3);
            if self.shows {
                self.shown.push((self.until_s, self.until_s + stay_s));
            }
            self.until_s += stay_s;
        }
        (if self.shows { &self.guises.shown } else { &self.guises.hidden }, self.until_s)
    }
}
