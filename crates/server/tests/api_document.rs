//! The OpenAPI document against the routes: every route is in it, all that is in it is a route, and it holds together.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::{Method, StatusCode};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use support::Bench;

const METHODS: [Method; 5] = [Method::GET, Method::POST, Method::PUT, Method::PATCH, Method::DELETE];

fn documented(document: &Value) -> BTreeSet<(String, String)> {
    let paths = document["paths"].as_object().unwrap();
    let all = paths.iter().flat_map(|(path, item)| {
        item.as_object().unwrap().keys().map(move |method| (path.clone(), method.to_uppercase()))
    });
    all.collect()
}

/// Addresses under /api/ that the program's text gives to a router.
fn routed(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            routed(&path, found);
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        for call in text.split(".route(").skip(1) {
            let address = call.split('"').nth(1).unwrap_or_default();
            if address.starts_with("/api/") {
                found.insert(address.to_owned());
            }
        }
    }
}

#[tokio::test]
async fn every_route_is_documented_and_every_document_entry_is_a_route() {
    let bench = Bench::new();
    let (status, text) = bench.get("/api/openapi.json").await;
    assert_eq!(status, StatusCode::OK);
    let document: Value = serde_json::from_str(&text).unwrap();
    let documented = documented(&document);
    let mut routes = BTreeSet::new();
    routed(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut routes);
    let paths: BTreeSet<String> = documented.iter().map(|d| d.0.clone()).collect();
    assert_eq!(paths, routes, "left: the document; right: the routes");
    for path in &routes {
        for method in METHODS {
            let address = path.split('/').map(|s| if s.starts_with('{') { "1" } else { s });
            let address = address.collect::<Vec<_>>().join("/");
            let status = bench.status(method.clone(), &address).await;
            let is_route = status != StatusCode::METHOD_NOT_ALLOWED;
            let is_documented = documented.contains(&(path.clone(), method.to_string()));
            assert_eq!(is_route, is_documented, "{method} {path}: {status}");
        }
    }
}

#[tokio::test]
async fn the_document_holds_together() {
    let (_, text) = Bench::new().get("/api/openapi.json").await;
    let document: Value = serde_json::from_str(&text).unwrap();
    for target in text.split("\"$ref\": \"#").skip(1).map(|t| t.split('"').next().unwrap()) {
        assert!(document.pointer(target).is_some(), "{target} leads nowhere");
    }
    let mut names = BTreeSet::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let name = operation["operationId"].as_str().unwrap();
            assert!(names.insert(name.to_owned()), "{name} names two");
            assert!(!operation["summary"].as_str().unwrap().is_empty(), "{method} {path}");
            assert_eq!(
                operation["responses"]["default"]["$ref"], "#/components/responses/Problem",
                "{method} {path}"
            );
        }
    }
}

#[tokio::test]
async fn whatever_is_refused_is_refused_as_problem_details() {
    let bench = Bench::new();
    for (method, address, kind, body, wanted) in [
        (Method::GET, "/api/nothing", "", "", 404),
        (Method::DELETE, "/api/jobs", "", "", 405),
        (Method::GET, "/api/jobs/seven", "", "", 400),
        (Method::GET, "/api/jobs/99999999999999999999999", "", "", 400),
        (Method::GET, "/api/jobs/7", "", "", 404),
        (Method::POST, "/api/jobs", "application/json", "{", 400),
        (Method::POST, "/api/jobs", "application/json", "{\"machine\": 3}", 422),
        (Method::POST, "/api/jobs", "text/plain", "{}", 415),
        (Method::POST, "/api/machines/check", "application/json", "{}", 422),
    ] {
        let (status, head, body) = bench.send(method.clone(), address, kind, body).await;
        assert_eq!(status.as_u16(), wanted, "{method} {address}: {body}");
        assert_eq!(head["content-type"], "application/problem+json", "{method} {address}");
        let details: Value = serde_json::from_str(&body).unwrap();
        assert_eq!(details["status"], wanted);
        for key in ["type", "title", "detail", "remedy"] {
            assert!(!details[key].as_str().unwrap().is_empty(), "{method} {address}: {key}");
        }
    }
    // A page says the same in words.
    let (status, body) = bench.get("/nowhere").await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert!(body.contains("go back to Today"), "{body}");
}
