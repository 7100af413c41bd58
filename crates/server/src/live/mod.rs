//! The live service test: a job's open trace is followed as its samples come, and what is known is shown at once.
//!
//! Data flows one way: samples of a socket ([`crate::capture`]) and marks of the job's log → `follow.rs` (where the test is)
//! with `run_down.rs` (the guard) → `view.rs` (words) → `events.rs` (what a page hears) and `panel.rs` (HTML). Nothing here is
//! kept: after a crash a test is followed again from the records. Read `marks.rs` first, then in that order.
//! Not here: the finding, which takes the trace from the records like any other evidence (`worked_out.rs`).

pub(crate) mod acts;
mod by_itself;
pub(crate) mod events;
pub(crate) mod follow;
mod marks;
mod panel;
pub(crate) mod range;
pub(crate) mod recorded;
mod run_down;
mod running;
mod view;

pub(crate) use by_itself::ByItself;
pub(crate) use running::Tests;
pub(crate) use view::is_bad;

use crate::desk::Desk;
use crate::problem::Problem;
use axum::Router;
use std::sync::Arc;

/// Most samples that a test is followed over, and that count of it as evidence: 5 h at ten a second.
const MOST_SAMPLES: usize = 200_000;

/// What a socket without a made-up machine says to a press.
fn no_button() -> Problem {
    Problem::refused("nothing can be pressed on this socket", "only a made-up machine is pressed from here")
}

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .merge(panel::routes())
        .merge(acts::routes())
        .merge(events::routes())
        .merge(range::routes())
        .merge(recorded::routes())
}
