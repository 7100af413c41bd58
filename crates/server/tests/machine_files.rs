//! Machine files on the page: begun, typed, checked, saved, brought in, taken out.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::{Method, StatusCode, header};
use serde_json::Value;
use support::{Bench, form};

/// A form with one file in it.
fn upload(name: &str, content: &str) -> (String, String) {
    let kind = "multipart/form-data; boundary=edge".to_owned();
    let body = format!(
        "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: \
         application/octet-stream\r\n\r\n{content}\r\n--edge--\r\n"
    );
    (kind, body)
}

const SMALL: &str = include_str!("../../machine/tests/good/small.toml");

#[tokio::test]
async fn a_file_is_begun_from_a_kind_typed_wrong_and_put_right() {
    let bench = Bench::new();
    let (_, page) = bench.get("/machines/new").await;
    assert!(page.contains("tumble dryer with heater"));
    let begun = form(&[("kind", "tumble-dryer"), ("name", "Skerry 9/2")]);
    let (status, head, _) = bench.post("/machines/new", &begun).await;
    assert_eq!(
        (status, head[header::LOCATION].to_str().unwrap()),
        (StatusCode::SEE_OTHER, "/machines/skerry-9-2/edit")
    );
    let (_, page) = bench.get("/machines/skerry-9-2/edit").await;
    assert!(page.contains("[machine]") && page.contains("Nothing is wrong in this file"), "{page}");
    // Errors do not keep it from being saved; they keep it from being used.
    let wrong = SMALL.replace("kind = \"heating element\"", "kind = \"hearing element\"");
    let (status, head, _) =
        bench.post("/machines/skerry-9-2/edit", &form(&[("text", &wrong.replace('\n', "\r\n"))])).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(head[header::LOCATION].to_str().unwrap().contains("saved=true"));
    let (_, page) = bench.get("/machines/skerry-9-2/edit?saved=true").await;
    assert!(page.contains("not usable until") && page.contains("hearing element"), "{page}");
    assert!(page.contains("data-line="));
    assert!(!bench.get("/new").await.1.contains("/new/skerry-9-2"));
    let (status, head, out) = bench.send(Method::GET, "/machines/skerry-9-2/file.toml", "", "").await;
    assert_eq!((status, out), (StatusCode::OK, wrong));
    assert_eq!(head[header::CONTENT_DISPOSITION], "attachment; filename=\"skerry-9-2.toml\"");
    bench.post("/machines/skerry-9-2/edit", &form(&[("text", SMALL)])).await;
    assert!(bench.get("/new").await.1.contains("/new/skerry-9-2"));
}

#[tokio::test]
async fn what_is_typed_is_never_lost_by_a_refusal() {
    let bench = Bench::new();
    bench.post("/machines/new", &form(&[("kind", "oven"), ("name", "mine")])).await;
    let (_, page) = bench.get("/machines/mine/edit").await;
    let was = page.split("name=\"was\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    bench.post("/machines/mine/edit", &form(&[("text", "# theirs"), ("was", &was)])).await;
    let typed = form(&[("text", "# mine & <mine>"), ("was", &was)]);
    let (status, _, page) = bench.post("/machines/mine/edit", &typed).await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert!(page.contains("changed elsewhere") && page.contains("# mine &#38; &#60;mine&#62;"), "{page}");
    let was = page.split("name=\"was\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let (status, ..) =
        bench.post("/machines/mine/edit", &form(&[("text", "# mine & <mine>"), ("was", &was)])).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let nul = form(&[("text", "a\0b")]);
    let (status, _, page) = bench.post("/machines/mine/edit", &nul).await;
    assert!(status.is_client_error() && page.contains("no text has"), "{page}");
    let (status, ..) = bench.post("/machines/mine/edit", &form(&[("text", &"x".repeat(1_000_001))])).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(bench.get("/machines/mine/file.toml").await.1 == "# mine & <mine>");
}

#[tokio::test]
async fn a_file_of_the_program_becomes_ones_own_and_jobs_keep_their_text() {
    let bench = Bench::new();
    bench.post("/new", "file=aldermere-tern-81&complaint=washes+cold").await;
    assert!(bench.get("/machines/aldermere-tern-81/edit").await.1.contains("comes with the program"));
    bench.post("/machines/aldermere-tern-81/edit", &form(&[("text", SMALL)])).await;
    assert!(bench.get("/machines/aldermere-tern-81").await.1.contains("Fault charts"));
    assert!(bench.get("/jobs/1").await.1.contains("Aldermere Tern 81"));
    assert!(bench.get("/jobs/1/find").await.1.contains("element open"));
}

#[tokio::test]
async fn a_file_is_brought_in_bounded_and_checked() {
    let bench = Bench::new();
    let send = async |name: &str, content: &str| {
        let (kind, body) = upload(name, content);
        bench.send(Method::POST, "/machines/import", &kind, &body).await
    };
    let (status, head, _) = send("../../Skerry 9.toml", SMALL).await;
    assert_eq!(
        (status, head[header::LOCATION].to_str().unwrap()),
        (StatusCode::SEE_OTHER, "/machines/skerry-9/edit")
    );
    for (name, content, wanted, says) in [
        ("Skerry 9.toml", SMALL, 422, "already"),
        ("empty.toml", "", 422, "no machine file was sent"),
        ("….toml", SMALL, 422, "needs a name"),
        ("bytes.toml", "a\0b", 422, "no text"),
        ("film.toml", &"x".repeat(1_200_000), 413, "larger than any machine file"),
        ("long.toml", &"x".repeat(1_000_001), 413, "larger than any machine file"),
    ] {
        let (status, _, page) = send(name, content).await;
        assert!(status.as_u16() == wanted && page.contains(says), "{name}: {status} {page}");
        assert!(page.contains("What to do"), "{name}");
    }
    let (status, ..) = bench.send(Method::POST, "/machines/import", "text/plain", "x").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn the_check_gives_what_the_command_line_gives() {
    let bench = Bench::new();
    let wrong = SMALL.replace("kind = \"heating element\"", "kind = \"hearing element\"");
    let body = serde_json::json!({ "text": wrong }).to_string();
    let (status, _, said) = bench.post_json("/api/machines/check", &body).await;
    assert_eq!(status, StatusCode::OK);
    let said: Value = serde_json::from_str(&said).unwrap();
    let line = wrong.lines().position(|l| l.contains("hearing element")).unwrap() + 1;
    let found = said["found"].as_array().unwrap().iter().find(|f| f["line"] == line).unwrap();
    assert_eq!(
        (&found["severity"], found["text"].as_str().unwrap()),
        (&"error".into(), "\"hearing element\"")
    );
    assert!(found["to_mend"][0].as_str().unwrap().contains("heating element"));
    let (_, _, said) =
        bench.post_json("/api/machines/check", &serde_json::json!({ "text": SMALL }).to_string()).await;
    assert_eq!(serde_json::from_str::<Value>(&said).unwrap()["errors"], 0);
}

#[tokio::test]
async fn from_the_plate_to_the_machine_or_to_a_new_one() {
    let bench = Bench::new();
    bench.post("/new", "words=it+trips").await;
    assert!(bench.get("/jobs/1").await.1.contains("/machines/new?job=1"));
    let (_, page) = bench.get("/jobs/1/match?plate=Polwaren+COCKLE").await;
    let fits = page.split("None yet?").next().unwrap();
    assert!(fits.contains("polwarren-cockle-52") && !fits.contains("aldermere-tern-81"), "{page}");
    assert!(bench.get("/jobs/1/match?plate=zzz").await.1.contains("No machine file has these words"));
    // Begun for the job, it becomes the job's machine when it is saved without an error.
    let begun = form(&[("kind", "oven"), ("name", "Hearth 3"), ("job", "1")]);
    let (_, head, _) = bench.post("/machines/new", &begun).await;
    assert_eq!(head[header::LOCATION], "/machines/hearth-3/edit?job=1");
    let (_, head, _) = bench.post("/machines/hearth-3/edit", &form(&[("text", "["), ("job", "1")])).await;
    assert_eq!(head[header::LOCATION], "/machines/hearth-3/edit?saved=true&job=1");
    let (_, head, _) = bench.post("/machines/hearth-3/edit", &form(&[("text", SMALL), ("job", "1")])).await;
    assert_eq!(head[header::LOCATION], "/jobs/1#arrive");
    assert!(bench.get("/jobs/1").await.1.contains("Choose what fits"));
}
