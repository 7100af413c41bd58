//! What was said of where steps begin, as factors on the alignment.
//!
//! A **mark** is a press that somebody noted while the machine ran: a little early or late, or forgotten. An **edge** was set
//! by hand by who looked at the trace: there is a boundary at that very moment, the step begins there, and what speaks against
//! it weighs little.

use super::emission;
use super::habits::Habits;
use super::pieces::Pieces;
use crate::evidence::Recording;

/// Factors on where steps begin.
#[derive(Clone, Debug, Default)]
pub(super) struct Begins {
    /// On starting a step at a piece, step after step; empty where nothing was said.
    pub doors: Vec<f64>,
    /// On going on past the boundary before a piece; empty where nothing was said.
    pub past: Vec<f64>,
    /// On a pause, or the time outside the test, that starts with a piece; empty where no edge was set.
    shut: Vec<f64>,
}

impl Begins {
    pub(super) fn of(recording: &Recording, steps: usize, pieces: &Pieces, habits: &Habits) -> Begins {
        if recording.marks.is_empty() && recording.edges.is_empty() {
            return Begins::default();
        }
        let n = pieces.len();
        let mut all = Begins { doors: vec![1.0; steps * n], past: vec![1.0; n], shut: Vec::new() };
        let nearest = |time_s: f64| {
            let off = |at: &usize| (pieces.at_s(*at) - time_s).abs();
            (0..n).min_by(|a, b| off(a).total_cmp(&off(b)))
        };
        if !recording.marks.is_empty() {
            for step in 0..steps {
                for at in 0..n {
                    let (from, to) = pieces.around_s(at);
                    let near = |&(mark_s, of): &(f64, usize)| {
                        let off = (from - mark_s).max(mark_s - to).max(0.0);
                        if of == step { (-off / habits.mark_s).exp() } else { 0.0 }
                    };
                    all.doors[step * n + at] =
                        recording.marks.iter().map(near).fold(habits.unmarked, f64::max);
                }
            }
        }
        for at in recording.marks.iter().filter_map(|mark| nearest(mark.0)) {
            all.past[at] = habits.unmarked;
        }
        for &(edge_s, step) in &recording.edges {
            let Some(at) = nearest(edge_s) else { continue };
            all.past[at] = habits.against_edge;
            for other in 0..steps {
                all.doors[other * n + at] = if other == step { 1.0 } else { habits.against_edge };
            }
            all.shut.resize(n, 1.0);
            all.shut[at] = habits.against_edge;
        }
        all
    }

    /// The factors of what is no step, with those on starting it.
    pub(super) fn between(&self, mut factors: emission::Factors) -> emission::Factors {
        for (start, shut) in factors.start.iter_mut().zip(&self.shut) {
            *start *= shut;
        }
        factors
    }
}
