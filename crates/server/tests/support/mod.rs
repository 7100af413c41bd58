//! The routes, asked without a socket.
#![allow(dead_code, unreachable_pub, reason = "each test uses what it needs")]

pub mod live;
pub mod visit;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, StatusCode, header};
use server::{Desk, Door, routes};
use std::sync::Arc;
use tower::ServiceExt;

pub const HOST: &str = "localhost:8423";

pub struct Bench {
    pub routes: Router,
    pub folder: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Bench {
        Bench::over(tempfile::tempdir().unwrap()).0
    }

    /// On this folder; and its desk.
    pub fn over(folder: tempfile::TempDir) -> (Bench, Arc<Desk>) {
        let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
        (Bench { routes: routes(desk.clone(), Door::ThisComputer, false), folder }, desk)
    }

    /// The same folder opened again, as after a crash.
    pub fn again(self) -> Bench {
        let Bench { routes: old, folder } = self;
        drop(old);
        Bench::over(folder).0
    }

    pub async fn ask(&self, request: Request<Body>) -> (StatusCode, axum::http::HeaderMap, String) {
        let answer = self.routes.clone().oneshot(request).await.unwrap();
        let (head, body) = answer.into_parts();
        let body = to_bytes(body, 10_000_000).await.unwrap();
        (head.status, head.headers, String::from_utf8(body.to_vec()).unwrap())
    }

    /// A file, as it is sent.
    pub async fn file(&self, path: &str) -> (StatusCode, axum::http::HeaderMap, Vec<u8>) {
        let request = Request::get(path).header(header::HOST, HOST).body(Body::empty()).unwrap();
        let answer = self.routes.clone().oneshot(request).await.unwrap();
        let (head, body) = answer.into_parts();
        (head.status, head.headers, to_bytes(body, 10_000_000).await.unwrap().to_vec())
    }

    pub async fn get(&self, path: &str) -> (StatusCode, String) {
        let request = Request::get(path).header(header::HOST, HOST).body(Body::empty()).unwrap();
        let (status, _, body) = self.ask(request).await;
        (status, body)
    }

    pub async fn post(&self, path: &str, form: &str) -> (StatusCode, axum::http::HeaderMap, String) {
        let request = Request::post(path)
            .header(header::HOST, HOST)
            .header(header::ORIGIN, format!("http://{HOST}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form.to_owned()))
            .unwrap();
        self.ask(request).await
    }

    pub async fn post_json(&self, path: &str, json: &str) -> (StatusCode, axum::http::HeaderMap, String) {
        let request = Request::post(path)
            .header(header::HOST, HOST)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(json.to_owned()))
            .unwrap();
        self.ask(request).await
    }

    /// What is answered, without its body: what streams to a listener has no end.
    pub async fn status(&self, method: Method, path: &str) -> StatusCode {
        let request = Request::builder().method(method).uri(path).header(header::HOST, HOST);
        let request = request.header(header::CONTENT_TYPE, "application/json").body(Body::empty()).unwrap();
        self.routes.clone().oneshot(request).await.unwrap().status()
    }

    pub async fn send(
        &self,
        method: Method,
        path: &str,
        kind: &str,
        body: &str,
    ) -> (StatusCode, axum::http::HeaderMap, String) {
        let mut request = Request::builder().method(method).uri(path).header(header::HOST, HOST);
        if !kind.is_empty() {
            request = request.header(header::CONTENT_TYPE, kind);
        }
        self.ask(request.body(Body::from(body.to_owned())).unwrap()).await
    }
}

/// A form's fields as a browser sends them.
pub fn form(fields: &[(&str, &str)]) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._".contains(&b);
    let coded = |text: &str| -> String {
        text.bytes().map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") }).collect()
    };
    fields.iter().map(|(k, v)| format!("{k}={}", coded(v))).collect::<Vec<_>>().join("&")
}
