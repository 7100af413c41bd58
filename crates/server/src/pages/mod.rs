//! The pages: one file a page, views as plain data, HTML in `templates/`.

mod arrive;
mod find;
pub(crate) mod layout;
mod machines;
pub(crate) mod new_job;
mod settings;
mod sheet;
mod sockets;
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
        .merge(machines::routes())
        .merge(settings::routes())
        .merge(sockets::routes())
}
