//! The time in no step: before the test, after it, and the pauses within.
//!
//! What the meter shows there hangs on the hypothesis in one thing. A sound machine is off, or on with nothing driven, or does
//! something that is no step. One that is **dead** from the first step on draws what still stands by, and whatever else is on
//! the meter is another's: without this, a recording of a machine that ran for a minute would speak for a dead board, as
//! something odd after a test that was given up.

use super::Look;
use super::chain::Runs;
use super::emission::{Factors, Profile};
use super::habits::Habits;
use super::lengths::{Length, Table};
use super::marks::Begins;
use super::pieces::Pieces;
use super::runs;
use super::steps::DEAD;
use rustc_hash::FxHashMap;

/// Runs of a pause, and of the time before and after the test.
#[derive(Clone)]
pub(super) struct Around {
    pub pause: Runs,
    pub outside: Runs,
}

/// All of them, for one view of the recording.
#[derive(Clone)]
pub(super) struct Arounds {
    tables: [Table; 2],
    alive: Around,
    /// By the place of the shape of the first step.
    dead: FxHashMap<usize, Around>,
    /// At least as much as any.
    most: Around,
}

impl Arounds {
    /// `idle_w` is what the machine draws when it is on and nothing is driven.
    pub(super) fn new(pieces: &Pieces, begins: &Begins, idle_w: f64, habits: &Habits) -> Arounds {
        let tables = [habits.pause_s, habits.outside_s].map(|(median_s, steep)| {
            Table::new(Length { median_s, steep, hurried: 0.0, loose: steep, quick: 0.0 })
        });
        let made = |profiles: &[Profile; 2]| around(profiles, &tables, pieces, begins, habits);
        let alive = made(&[Profile::pause(idle_w), Profile::outside(idle_w)]);
        let dead = made(&Profile::around_dead((0.0, (DEAD * idle_w).max(0.0))));
        let most = Around {
            pause: Runs::greatest(&[&alive.pause, &dead.pause]),
            outside: Runs::greatest(&[&alive.outside, &dead.outside]),
        };
        Arounds { tables, alive, dead: FxHashMap::default(), most }
    }

    /// Makes those of a machine that is dead and of which so much still stands by, W, if its first step is not known to look so.
    pub(super) fn add_dead(
        &mut self,
        first: usize,
        stands_by_w: f64,
        pieces: &Pieces,
        begins: &Begins,
        habits: &Habits,
    ) {
        let tables = &self.tables;
        self.dead.entry(first).or_insert_with(|| {
            around(&Profile::around_dead((stands_by_w, stands_by_w)), tables, pieces, begins, habits)
        });
    }

    /// Of a hypothesis whose steps look like this.
    pub(super) fn of(&self, looks: &[Look]) -> &Around {
        let dead = looks.iter().all(|look| look.1.dead);
        looks.first().filter(|_| dead).and_then(|first| self.dead.get(&first.0)).unwrap_or(&self.alive)
    }

    /// Of a machine that does something in some step.
    pub(super) fn alive(&self) -> &Around {
        &self.alive
    }

    /// No hypothesis has more.
    pub(super) fn most(&self) -> &Around {
        &self.most
    }
}

fn around(
    [pause, outside]: &[Profile; 2],
    tables: &[Table; 2],
    pieces: &Pieces,
    begins: &Begins,
    habits: &Habits,
) -> Around {
    let made = |profile: &Profile, table: &Table| {
        let factors = begins.between(Factors::of(profile, pieces, habits));
        runs(pieces, &factors, table, &begins.past)
    };
    Around { pause: made(pause, &tables[0]), outside: made(outside, &tables[1]) }
}
