//! The likeliest alignment, for display.

use super::chain::Visit;
use super::emission::Profile;
use super::habits::Habits;
use super::pieces::{Pieces, Stretch};
use super::steps::States;
use super::views::Beside;
use bench::Estimate;

/// What a part of the recording is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A step, by its place in the service test.
    Step(usize),
    /// Before the test, or between two goes at it.
    Before,
    /// Between two steps.
    Pause,
    /// After the test.
    After,
    /// Within a step: another load on the meter, or a level that nothing accounts for.
    Foreign,
}

/// A part of the recording and what it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Match {
    /// What it is.
    pub what: What,
    /// Start, s on the samples' clock.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Power: of a step what stands beside its predicted power, else the mean. None where nothing was recorded.
    /// The uncertainty is how well the level repeats; the meter's own error is with the prediction.
    pub power_w: Option<Estimate>,
}

/// Parts in order of time; foreign stretches come after the step that they lie in, a load over several steps first of all.
pub(super) fn matches(
    visits: &[Visit],
    pieces: &Pieces,
    beside: Option<Beside>,
    profiles: &[Profile],
    habits: &Habits,
) -> Vec<Match> {
    let states = States { steps: profiles.len() };
    let mut found = Vec::new();
    if let Some(load) = beside {
        found.push(Match {
            what: What::Foreign,
            start_s: pieces.stretches[load.from].start_s,
            end_s: pieces.stretches[load.to - 1].end_s,
            power_w: Some(Estimate { value: load.power_w, u: pieces.stretches[load.from].repeats_w }),
        });
    }
    for visit in visits {
        let (start_s, end_s) = (pieces.at_s(visit.from), pieces.at_s(visit.to));
        let inside = parts(visit, pieces);
        let of = |what, power_w| Match { what, start_s, end_s, power_w };
        if let Some(profile) = profiles.get(visit.state) {
            let foreign: Vec<bool> =
                inside.iter().map(|(s, seconds)| profile.is_foreign(s, *seconds, habits)).collect();
            let own: Vec<_> = inside.iter().zip(&foreign).filter(|(_, f)| !**f).map(|(p, _)| *p).collect();
            found.push(of(What::Step(visit.state), step_power(&own, profile.rest.is_some())));
            for ((stretch, _), _) in inside.iter().zip(&foreign).filter(|(_, f)| **f) {
                found.push(Match {
                    what: What::Foreign,
                    start_s: stretch.start_s.max(start_s),
                    end_s: stretch.end_s.min(end_s),
                    power_w: Some(Estimate { value: stretch.power_w, u: stretch.repeats_w }),
                });
            }
        } else {
            let what = match visit.state {
                s if s == states.before() || s == states.again() => What::Before,
                s if s == states.after() => What::After,
                _ => What::Pause,
            };
            found.push(of(what, mean(&inside)));
        }
    }
    found
}

/// Stretches of a visit with the seconds of them that lie in it; holes left out.
fn parts(visit: &Visit, pieces: &Pieces) -> Vec<(Stretch, f64)> {
    let mut parts: Vec<(Stretch, f64)> = Vec::new();
    let mut last = usize::MAX;
    for piece in &pieces.pieces[visit.from..visit.to] {
        let stretch = pieces.stretches[piece.stretch];
        let seconds = piece.end_s - piece.start_s;
        if stretch.hole {
            continue;
        }
        match parts.last_mut() {
            Some(part) if last == piece.stretch => part.1 += seconds,
            _ => parts.push((stretch, seconds)),
        }
        last = piece.stretch;
    }
    parts
}

/// A level that lasts less does not show what a step ran up to, s.
const SETTLED_S: f64 = 5.0;

/// What the step settled at: the level that lasted longest, all stretches that repeat it together, the way up or down to it left
/// out; with a drum that rests between turns, the mean over the turns, which are what lies nearer to the highest level than to
/// the lowest.
fn step_power(parts: &[(Stretch, f64)], rests: bool) -> Option<Estimate> {
    if !rests {
        let settles = |(s, seconds): &(Stretch, f64)| !s.slope && *seconds >= SETTLED_S;
        let last_level = parts.iter().rposition(settles).unwrap_or(0);
        let is_way = |place: usize| place < last_level && parts[place].0.slope;
        let parts: Vec<_> =
            (0..parts.len()).filter(|&place| !is_way(place)).map(|place| parts[place]).collect();
        let lasting =
            |a: &Stretch| parts.iter().filter(|(b, _)| b.repeats(a)).map(|(_, seconds)| seconds).sum::<f64>();
        let longest =
            parts.iter().rev().map(|(s, _)| (s, lasting(s))).reduce(|a, b| if b.1 > a.1 { b } else { a })?;
        let same: Vec<_> = parts.iter().filter(|(s, _)| s.repeats(longest.0)).copied().collect();
        return mean(&same);
    }
    let (low, high) = parts
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), (s, _)| (l.min(s.power_w), h.max(s.power_w)));
    let upper: Vec<_> =
        parts.iter().filter(|(s, _)| s.power_w >= f64::midpoint(low, high)).copied().collect();
    mean(&upper)
}

fn mean(parts: &[(Stretch, f64)]) -> Option<Estimate> {
    let time: f64 = parts.iter().map(|p| p.1).sum();
    let over = |of: fn(&Stretch) -> f64| parts.iter().map(|(s, t)| of(s) * t).sum::<f64>() / time;
    (time > 0.0).then(|| Estimate { value: over(|s| s.power_w), u: over(|s| s.repeats_w) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretch(power_w: f64, repeats_w: f64, slope: bool) -> Stretch {
        Stretch { start_s: 0.0, end_s: 0.0, power_w, repeats_w, slope, hole: false, again: None }
    }

    #[test]
    fn a_spin_reads_what_it_runs_up_to() {
        let run_up = (stretch(250.0, 190.0, true), 70.0);
        let full = [(stretch(425.0, 10.0, false), 15.0), (stretch(375.0, 12.0, false), 30.0)];
        let read = step_power(&[run_up, full[0], full[1]], false).unwrap();
        assert_eq!(read, Estimate { value: 375.0, u: 12.0 });
        // Broken off on its way, it reads what there is, not what stood before it.
        let idle = (stretch(5.0, 2.0, false), 12.0);
        let on_its_way = Some(Estimate { value: 250.0, u: 190.0 });
        assert_eq!(step_power(&[idle, run_up], false), on_its_way);
        assert_eq!(step_power(&[idle, run_up, (stretch(90.0, 9.0, false), 2.0)], false), on_its_way);
    }
}
