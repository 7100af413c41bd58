//! The bench in the browser: pages for Today, a job's sheet, Machines and Settings, and the same as JSON.
//!
//! Data flows one way: a job's log (`records`) and its machine file → an evidence file → [`diagnosis::Find`] → views →
//! HTML (`templates/`) or JSON. Read in this order: `desk.rs` (what every request shares), `worked_out.rs` (from a log
//! to a finding) with `seats.rs` (diagnoses that go on), `say.rs` (from a form to an entry of the log), `visit/` (what
//! was agreed, mended, proved), `pages/`, `api.rs`, `guard.rs` (who may ask), `spoken.rs` (in which language). Not here: anything about machines or
//! faults; what an entry means is `diagnosis::evidence`'s.
//!
//! Always true: what was said is on the disk before a page says "saved"; nothing on a page comes from another host; nothing
//! of a customer is written to a log; no path is made from text of a request.

mod api;
mod assets;
mod capture;
mod demo;
mod desk;
mod fonts;
mod guard;
mod library;
mod live;
mod login;
mod marked;
mod meters_file;
mod pages;
mod probes;
mod problem;
mod say;
mod seats;
mod setup;
mod spoken;
mod tls;
mod visit;
mod who;
mod worked_out;

pub use demo::{meters as demo_meters, scenario};
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
        .merge(live::routes())
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
        // Only now: a second bench that cannot have the port takes no meter from the first.
        watch_meters(&desk);
        let (capture, closed) = (desk.capture.clone(), closed(desk.clone()));
        let routes = routes(desk, door, tls.is_some());
        let served = match tls {
            None => axum::serve(listener, routes).with_graceful_shutdown(closed).await,
            Some(tls) => {
                let secured = tls::Secured::new(listener, at, tls);
                axum::serve(secured, routes).with_graceful_shutdown(closed).await
            }
        };
        capture.keep_now().await;
        served.map_err(|e| failed(&e))
    })
}

/// What was worked out anew.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rebuilt {
    /// Jobs whose line in the list is there again.
    pub jobs: usize,
    /// Jobs of which nothing can be worked out, with why.
    pub refused: Vec<(records::JobId, String)>,
}

/// Throws away what was worked out of the logs, and works every open job out again.
///
/// # Errors
/// Where the records refuse.
pub fn rebuild(desk: &Arc<Desk>) -> Result<Rebuilt, ServeError> {
    let failed = |message: String| ServeError { message, remedy: "try again".to_owned() };
    let refused = |e: records::RecordsError| ServeError { message: e.message, remedy: e.remedy };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .build()
        .map_err(|e| failed(format!("no threads: {e}")))?;
    desk.records().forget_derived().map_err(refused)?;
    let mut rebuilt = Rebuilt::default();
    for line in desk.records().jobs("").map_err(refused)? {
        let Some(job) = desk.records().job(line.id).map_err(refused)? else { continue };
        match runtime.block_on(worked_out::worked_out(desk, &job)) {
            Ok(found) => rebuilt.jobs += usize::from(found.is_some()),
            Err(problem) => rebuilt.refused.push((line.id, problem.message)),
        }
    }
    Ok(rebuilt)
}

/// Now, by the clock and zone of this computer.
pub fn now() -> jiff::ZonedDateTime {
    jiff::ZonedDateTime::now()
}

/// Watches the meters of the desk's file and keeps their samples, for as long as the runtime lives.
fn watch_meters(desk: &Arc<Desk>) {
    tokio::spawn(desk.capture.clone().keep());
    desk.meters.watch(&desk.capture);
}

/// Puts news of a socket before the desk, as if a meter of the file said it. Must be called within a runtime; samples are kept
/// from then on.
///
/// # Errors
/// Where the records refuse the name.
pub fn plug(
    desk: &Arc<Desk>,
    name: &str,
    news: tokio::sync::mpsc::Receiver<meters::News>,
) -> Result<records::SocketId, records::RecordsError> {
    let socket = desk.capture.plug(name, news)?;
    tokio::spawn(desk.capture.clone().keep());
    Ok(socket)
}

/// Waits until the process is told to end, then lets go of who listens.
async fn closed(desk: Arc<Desk>) {
    told_to_end().await;
    desk.closing.send_replace(true);
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
