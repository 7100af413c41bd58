//! The bench in the browser: pages for Today, a job's sheet, Machines and Settings, and the same as JSON.
//!
//! Data flows one way: a job's log (`records`) and its machine file → an evidence file → [`diagnosis::Find`] → views → HTML
//! (`templates/`) or JSON. Read in this order: `desk.rs` (what every request shares), `worked_out.rs` (from a log to a
//! finding), `say.rs` (from a form to an entry of the log), `pages/`, `api.rs`, `guard.rs` (who may ask).
//! Not here: anything about machines or faults; what an entry means is `diagnosis::evidence`'s.
//!
//! Always true: what was said is on the disk before a page says "saved"; nothing on a page comes from another host; nothing
//! of a customer is written to a log; no path is made from text of a request.

mod api;
mod assets;
mod demo;
mod desk;
mod guard;
mod library;
mod login;
mod pages;
mod probes;
mod problem;
mod say;
mod setup;
mod tls;
mod who;
mod worked_out;

pub use demo::scenario;
pub use desk::Desk;
pub use guard::Door;
pub use login::Lock;
pub use tls::Tls;

use axum::Router;
use std::net::SocketAddr;
use std::sync::Arc;

/// Why the bench cannot be opened: what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ServeError {
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// All pages and the JSON API, behind their guard. `secure`: what is sent is encrypted.
pub fn routes(desk: Arc<Desk>, door: Door, secure: bool) -> Router {
    let all = Router::new()
        .merge(pages::routes())
        .merge(api::routes())
        .merge(assets::routes())
        .merge(login::routes())
        .with_state(desk.clone());
    guard::before(all, desk, door, secure)
}

/// Serves until the process is told to end (Ctrl-C, or a terminate signal); `ready` is told the address.
///
/// # Errors
/// Where the address cannot be had.
pub fn serve(
    desk: Arc<Desk>,
    door: Door,
    address: SocketAddr,
    tls: Option<&Tls>,
    ready: impl FnOnce(SocketAddr),
) -> Result<(), ServeError> {
    let failed = |e: &std::io::Error| ServeError {
        message: format!("the bench cannot listen on {address}: {e}"),
        remedy:
            "another program may hold the port: choose one with --listen 127.0.0.1:8424, or end the other"
                .to_owned(),
    };
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(|e| failed(&e))?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind(address).await.map_err(|e| failed(&e))?;
        let at = listener.local_addr().map_err(|e| failed(&e))?;
        ready(at);
        let routes = routes(desk, door, tls.is_some());
        let served = match tls {
            None => axum::serve(listener, routes).with_graceful_shutdown(told_to_end()).await,
            Some(tls) => {
                let secured = tls::Secured::new(listener, at, tls);
                axum::serve(secured, routes).with_graceful_shutdown(told_to_end()).await
            }
        };
        served.map_err(|e| failed(&e))
    })
}

/// Now, by the clock and zone of this computer.
pub fn now() -> jiff::ZonedDateTime {
    jiff::ZonedDateTime::now()
}

async fn told_to_end() {
    let interrupt = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminate) = signal(SignalKind::terminate()) {
            tokio::select! { _ = interrupt => {}, _ = terminate.recv() => {} }
            return;
        }
    }
    let _ = interrupt.await;
}
