//! Style and script, held in the program: no page asks another host for anything.

use crate::desk::Desk;
use axum::Router;
use axum::body::Bytes;
use axum::http::{HeaderMap, HeaderValue, header};
use axum::routing::{MethodRouter, get};
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write as _;
use std::sync::{Arc, LazyLock};

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
        .route("/bench.css", asset("text/css; charset=utf-8", STYLE))
        .route("/live.css", asset("text/css; charset=utf-8", LIVE_STYLE))
        .route("/bench.js", asset("text/javascript; charset=utf-8", SCRIPT))
        .route("/ribbon.js", asset("text/javascript; charset=utf-8", RIBBON))
        .route("/edges.js", asset("text/javascript; charset=utf-8", EDGES))
        .route("/sockets.js", asset("text/javascript; charset=utf-8", SOCKETS))
        .route("/sign.js", asset("text/javascript; charset=utf-8", SIGN))
        .route("/edit.js", asset("text/javascript; charset=utf-8", EDIT))
}

/// A file that never changes, packed for browsers that take it so, when the first one asks: a third of the bytes on a slow link.
fn asset(kind: &'static str, text: &'static str) -> MethodRouter<Arc<Desk>> {
    let packed = Arc::new(LazyLock::new(move || pack(text)));
    get(move |asked: HeaderMap| {
        let packed = takes_gzip(&asked).then(|| LazyLock::force(&packed).clone()).flatten();
        async move {
            let value = HeaderValue::from_static;
            let mut headers = HeaderMap::from_iter([
                (header::CONTENT_TYPE, value(kind)),
                (header::CACHE_CONTROL, value("max-age=31536000, immutable")),
                (header::VARY, value("accept-encoding")),
            ]);
            let Some(packed) = packed else { return (headers, Bytes::from_static(text.as_bytes())) };
            headers.insert(header::CONTENT_ENCODING, value("gzip"));
            (headers, packed)
        }
    })
}

fn pack(text: &str) -> Option<Bytes> {
    let mut writer = GzEncoder::new(Vec::new(), Compression::best());
    writer.write_all(text.as_bytes()).and_then(|()| writer.finish()).ok().map(Bytes::from)
}

/// RFC 9110, 12.5.3: named, and not at weight nought.
fn takes_gzip(asked: &HeaderMap) -> bool {
    let all = asked.get_all(header::ACCEPT_ENCODING).iter().filter_map(|v| v.to_str().ok());
    all.flat_map(|v| v.split(',')).any(|coding| {
        let (name, weight) = coding.split_once(';').unwrap_or((coding, "q=1"));
        let weight = weight.trim().strip_prefix("q=").and_then(|q| q.trim().parse::<f64>().ok());
        name.trim().eq_ignore_ascii_case("gzip") && weight.is_some_and(|q| q > 0.0)
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test")]
mod tests {
    use super::*;
    use flate2::read::GzDecoder;
    use std::io::Read as _;

    #[test]
    fn a_browser_says_whether_it_takes_packed_files() {
        let takes = |says: &'static str| {
            takes_gzip(&HeaderMap::from_iter([(header::ACCEPT_ENCODING, HeaderValue::from_static(says))]))
        };
        assert!(takes("gzip, deflate, br, zstd"));
        assert!(takes("br;q=1.0, GZIP;q=0.2"));
        assert!(!takes("gzip;q=0, br"));
        assert!(!takes("identity"));
        assert!(!takes_gzip(&HeaderMap::new()));
    }

    #[test]
    fn what_is_packed_comes_out_again() {
        let packed = pack(RIBBON).unwrap();
        assert!(packed.len() < RIBBON.len() / 2);
        let mut text = String::new();
        GzDecoder::new(&packed[..]).read_to_string(&mut text).unwrap();
        assert_eq!(text, RIBBON);
    }
}
