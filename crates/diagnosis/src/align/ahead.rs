//! Many hypotheses at once, on two threads: what is going to be asked of a recording anyway. It does not change what is answered,
//! only how soon.

use super::chain::Forward;
use super::steps::{DEAD, Shape, Turn};
use super::{Aligner, View, shape_runs, table};
use bench::{PredictionId, Sweep};
use rustc_hash::FxHashSet;
use std::sync::Arc;

/// A question to come.
#[derive(Clone, Copy, Debug)]
pub enum Ask<'a> {
    /// [`Aligner::ln_likelihood`].
    Test(&'a [PredictionId]),
    /// [`Aligner::ln_likelihood_of_either`]: with a fault, without it.
    Either(&'a [PredictionId], &'a [PredictionId]),
}

impl Aligner {
    /// Works out what is going to be asked.
    pub fn look_ahead(&mut self, asks: &[Ask<'_>], sweep: &Sweep<'_>) {
        let all = asks.iter().flat_map(|ask| match ask {
            Ask::Test(steps) => [*steps, &[]],
            Ask::Either(with, without) => [*with, *without],
        });
        self.make_shapes(&all.collect::<Vec<_>>(), sweep);
        let (mut tests, mut eithers) = (Vec::new(), Vec::new());
        for ask in asks {
            match ask {
                Ask::Test(steps) => tests.push(self.looks(steps, sweep)),
                Ask::Either(with, without) => {
                    let (with, without) = self.looks_of_either(with, without, sweep);
                    if with == without {
                        tests.push(with);
                    } else {
                        eithers.push((with, without));
                    }
                }
            }
        }
        let mut first = FxHashSet::default();
        tests.retain(|looks| !self.sums.contains_key(looks) && first.insert(looks.clone()));
        let mut first = FxHashSet::default();
        eithers.retain(|looks| !self.sums_of_either.contains_key(looks) && first.insert(looks.clone()));
        let this = &*self;
        let sums = in_two(&tests, |looks, forward| this.sum(looks, forward));
        let sums_of_either = in_two(&eithers, |(a, b), forward| this.sum_of_either(a, b, forward));
        self.sums.extend(tests.into_iter().zip(sums));
        self.sums_of_either.extend(eithers.into_iter().zip(sums_of_either));
    }

    /// Makes the runs of every look of a step in these tests that is new.
    pub(super) fn make_shapes(&mut self, tests: &[&[PredictionId]], sweep: &Sweep<'_>) {
        let mut fresh: Vec<(usize, Shape)> = Vec::new();
        for (step, &id) in tests.iter().flat_map(|steps| steps.iter().enumerate().take(self.frames.len())) {
            if self.known.contains_key(&(step, id)) {
                continue;
            }
            let (prediction, frame) = (sweep.get(id), &self.frames[step]);
            let shape = Shape::of(prediction, frame);
            let next = self.shapes.len();
            let made = *self.shapes.entry((step, shape.clone())).or_insert(next);
            if made == next {
                fresh.push((step, shape));
            }
            self.known.insert((step, id), (made, Turn::of(prediction, frame, self.idle_w)));
        }
        for (step, shape) in &fresh {
            table(&mut self.tables, shape.length(&self.frames[*step], &self.habits));
        }
        for view in 0..self.views.len() {
            let this = &*self;
            let made = in_two(&fresh, |(step, shape), _| {
                let frame = &this.frames[*step];
                let table = &this.tables[&shape.length(frame, &this.habits).key()];
                shape_runs(&this.views[view], shape, frame, table, &this.begins.past, &this.habits)
            });
            self.views[view].runs.extend(made.into_iter().map(Arc::new));
        }
        let dead = |shape: &Shape| shape.low_w() < DEAD * self.idle_w;
        let first = fresh.iter().filter(|(step, shape)| *step == 0 && dead(shape));
        for (step, shape) in first {
            let made = self.shapes[&(*step, shape.clone())];
            for View { around, pieces, .. } in &mut self.views {
                around.add_dead(made, shape.low_w().max(0.0), pieces, &self.begins, &self.habits);
            }
        }
    }
}

/// Less than this is not worth a thread.
const MANY: usize = 8;

/// Does the first half of the work here, the second on a thread of its own, or here too where none is to be had.
fn in_two<T: Sync, R: Send>(all: &[T], of: impl Fn(&T, &mut Forward) -> R + Sync) -> Vec<R> {
    let work = |part: &[T]| {
        let mut forward = Forward::default();
        part.iter().map(|one| of(one, &mut forward)).collect::<Vec<R>>()
    };
    if all.len() < MANY {
        return work(all);
    }
    let (here, there) = all.split_at(all.len() / 2);
    std::thread::scope(|scope| {
        let other = std::thread::Builder::new().spawn_scoped(scope, || work(there));
        let mut done = work(here);
        match other.map(std::thread::ScopedJoinHandle::join) {
            Ok(Ok(rest)) => done.extend(rest),
            Ok(Err(panic)) => std::panic::resume_unwind(panic),
            Err(_) => done.extend(work(there)),
        }
        done
    })
}
