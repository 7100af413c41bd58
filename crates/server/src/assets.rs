//! Style and script, held in the program: no page asks another host for anything.

use crate::desk::Desk;
use axum::Router;
use axum::http::{HeaderName, HeaderValue, header};
use axum::response::IntoResponse;
use axum::routing::get;
use std::sync::Arc;

const STYLE: &str = include_str!("../assets/bench.css");
const SCRIPT: &str = include_str!("../assets/bench.js");
const RIBBON: &str = include_str!("../assets/ribbon.js");
const EDGES: &str = include_str!("../assets/edges.js");
const SOCKETS: &str = include_str!("../assets/sockets.js");
const LIVE_STYLE: &str = include_str!("../assets/live.css");
const SIGN: &str = include_str!("../assets/sign.js");
const EDIT: &str = include_str!("../assets/edit.js");

/// What these files are fetched as; changes with the program, so that a browser never mixes two.
pub(crate) fn version() -> String {
    let sum =
        |text: &str| text.bytes().fold(0x811c_9dc5_u32, |h, b| (h ^ u32::from(b)).wrapping_mul(0x0100_0193));
    let all = [STYLE, SCRIPT, RIBBON, EDGES, SOCKETS, LIVE_STYLE, EDIT, SIGN].map(sum);
    format!("{:08x}", all.into_iter().fold(0, |a: u32, b| a.rotate_left(7) ^ b))
}

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/bench.css", get(async || text("text/css; charset=utf-8", STYLE)))
        .route("/live.css", get(async || text("text/css; charset=utf-8", LIVE_STYLE)))
        .route("/bench.js", get(async || text("text/javascript; charset=utf-8", SCRIPT)))
        .route("/ribbon.js", get(async || text("text/javascript; charset=utf-8", RIBBON)))
        .route("/edges.js", get(async || text("text/javascript; charset=utf-8", EDGES)))
        .route("/sockets.js", get(async || text("text/javascript; charset=utf-8", SOCKETS)))
        .route("/sign.js", get(async || text("text/javascript; charset=utf-8", SIGN)))
        .route("/edit.js", get(async || text("text/javascript; charset=utf-8", EDIT)))
}

fn text(kind: &'static str, body: &'static str) -> impl IntoResponse {
    let value = HeaderValue::from_static;
    let headers: [(HeaderName, HeaderValue); 2] =
        [(header::CONTENT_TYPE, value(kind)), (header::CACHE_CONTROL, value("max-age=31536000, immutable"))];
    (headers, body)
}
