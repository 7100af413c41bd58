//! What a technician is told when something cannot be done: all at once, to be read as one text. `UPDATE_EXPECTED=1` renews it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::Method;
use support::{Bench, form};

/// The words of a problem's page.
fn words(page: &str) -> String {
    let main = page.split("<main").nth(1).unwrap().split("</main>").next().unwrap();
    let mut text = String::new();
    let mut in_tag = true;
    for c in main.chars() {
        match c {
            '<' => in_tag = true,
            '>' => {
                in_tag = false;
                text.push(' ');
            }
            c if !in_tag => text.push(c),
            _ => {}
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test]
async fn every_refusal_says_what_and_what_to_do() {
    let bench = Bench::new();
    bench.post("/new", "file=aldermere-tern-81").await;
    bench.post("/new", "words=it+trips").await;
    let urlencoded = "application/x-www-form-urlencoded";
    let post = |path: &'static str, fields: &[(&str, &str)]| (Method::POST, path, urlencoded, form(fields));
    let get = |path: &'static str| (Method::GET, path, "", String::new());
    let all = [
        get("/nowhere"),
        get("/jobs/99"),
        get("/jobs/seven"),
        (Method::PUT, "/settings", urlencoded, String::new()),
        post("/jobs/1/say", &[("what", "supply"), ("value", "2300")]),
        post("/jobs/1/say", &[("what", "step"), ("step", "warm"), ("watts", "hot")]),
        post("/jobs/1/say", &[("what", "check"), ("check", "ohms element.1 element.2"), ("answer", "1")]),
        post("/jobs/2/say", &[("what", "complaint"), ("value", "washes cold")]),
        post("/machines/new", &[("kind", "kettle"), ("name", "x")]),
        post("/machines/new", &[("kind", "oven"), ("name", "…")]),
        post("/machines/new", &[("kind", "oven"), ("name", "Aldermere Tern 81")]),
        post("/machines/aldermere-tern-81/edit", &[("text", "x"), ("was", "another")]),
        (Method::POST, "/machines/import", urlencoded, String::new()),
        get("/machines/none/edit"),
        get("/machines/aldermere-tern-81/chart?complaint=sings"),
        get("/jobs/1/chart"),
        get("/practise/aldermere-tern-81?seed=one"),
        get("/practise/none?seed=1"),
        post("/settings", &[("rate", "much")]),
        post("/settings", &[("multimeter", "on"), ("multimeter-due", "soon")]),
        post("/settings/people", &[("name", "Ali"), ("role", "king"), ("passphrase", "long enough it is")]),
        post(
            "/settings/people",
            &[("name", "Ali"), ("role", "apprentice"), ("passphrase", "long enough it is")],
        ),
        post(
            "/settings/people",
            &[("name", ""), ("role", "technician"), ("passphrase", "long enough it is")],
        ),
        post("/settings/people", &[("name", "Ann"), ("role", "technician"), ("passphrase", "short")]),
        (Method::POST, "/jobs/1/attach", urlencoded, String::new()),
        get("/settings/data/customers/7"),
    ];
    let mut told = String::new();
    for (method, path, kind, body) in all {
        let (status, _, page) = bench.send(method.clone(), path, kind, &body).await;
        assert!(status.is_client_error(), "{method} {path}: {status}");
        let words = words(&page);
        assert!(words.contains("What to do: "), "{method} {path}: {words}");
        // Only what the problem says; a form that keeps what was typed says more below it.
        let words = words.strip_suffix(" Today").unwrap_or(&words);
        let words = words.split(" 5 to mend").next().unwrap();
        told.push_str(&format!("{method} {path}\n  {words}\n"));
    }
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/expected/refusals.txt");
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        std::fs::write(&file, &told).unwrap();
    }
    assert_eq!(told, std::fs::read_to_string(file).unwrap());
}
