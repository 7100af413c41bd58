//! The pages: one file a page, views as plain data, HTML in `templates/`.

mod agree;
mod arrive;
mod attached;
mod chart;
mod data;
mod edit;
mod find;
mod firm;
mod hand_over;
mod language;
pub(crate) mod layout;
mod machines;
mod match_machine;
mod mend;
pub(crate) mod new_job;
pub(crate) mod papers;
mod people;
mod practise;
mod prove;
mod settings;
mod sheet;
mod sockets;
mod stock;
pub(crate) mod test;
mod today;

use crate::desk::Desk;
use axum::Router;
use std::sync::Arc;

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .merge(today::routes())
        .merge(new_job::routes())
        .merge(sheet::routes())
        .merge(agree::routes())
        .merge(mend::routes())
        .merge(prove::routes())
        .merge(hand_over::routes())
        .merge(papers::routes())
        .merge(stock::routes())
        .merge(firm::routes())
        .merge(machines::routes())
        .merge(match_machine::routes())
        .merge(edit::routes())
        .merge(people::routes())
        .merge(data::routes())
        .merge(attached::routes())
        .merge(chart::routes())
        .merge(practise::routes())
        .merge(settings::routes())
        .merge(language::routes())
        .merge(sockets::routes())
}

/// What pages keep in memory, so that the next request need not work it out again.
#[derive(Default)]
pub(crate) struct PagesKept {
    charts: chart::Charts,
    games: practise::Games,
}
