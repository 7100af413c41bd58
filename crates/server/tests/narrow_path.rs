//! The narrow path through the routes: a job is made, readings are typed, suspects and the next check are there.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use server::{Desk, Door, Lock, routes};
use std::sync::Arc;
use support::{Bench, HOST};

#[tokio::test]
async fn from_a_call_to_the_failed_part_and_nothing_lost() {
    let bench = Bench::new();
    assert!(bench.get("/").await.1.contains("No job is open"));
    let (status, head, _) =
        bench.post("/new", "file=aldermere-tern-81&complaint=washes+cold&name=Net+Loft").await;
    assert_eq!((status, head[header::LOCATION].to_str().unwrap()), (StatusCode::SEE_OTHER, "/jobs/1"));
    // The fold Find waits for what is worked out; the sheet does not, but has it when it is there.
    bench.get("/jobs/1/find").await;
    let (_, sheet) = bench.get("/jobs/1").await;
    for part in ["washes cold", "Net Loft", "Likely, before you go", "element open", "Enter the test"] {
        assert!(sheet.contains(part), "{part}");
    }
    for (form, number) in [
        ("what=supply&value=238&key=k1", 2),
        ("what=step&step=warm&watts=31&key=k2", 3),
        ("what=step&step=warm&watts=31&key=k2", 3),
    ] {
        let request = Request::post("/jobs/1/say")
            .header(header::HOST, HOST)
            .header(header::ACCEPT, "application/json")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form))
            .unwrap();
        let (status, _, body) = bench.ask(request).await;
        assert_eq!((status, body), (StatusCode::OK, format!("{{\"saved\":{number}}}")));
    }
    // No orderly end: the records are opened anew beside the old ones.
    let bench = bench.again();
    bench.get("/jobs/1/find").await;
    let (_, sheet) = bench.get("/jobs/1").await;
    assert!(sheet.contains("31 W") && sheet.contains("NOTHING"), "{sheet}");
    assert!(sheet.contains("Caution."));
    let (status, _, means) = bench
        .post("/jobs/1/interpret", "what=check&check=ohms+element.1+element.2+off+element.1&answer=OL")
        .await;
    assert_eq!(status, StatusCode::OK);
    // The figures change with the constants of belief; that an open element is named first does not.
    assert!(means.contains(r#""lines":["element open: "#), "{means}");
    let (status, _, _) =
        bench.post("/jobs/1/say", "what=check&check=ohms+element.1+element.2+off+element.1&answer=OL").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let (_, find) = bench.get("/jobs/1/find").await;
    assert!(find.contains("class=\"sure\"") && find.contains("element open"), "{find}");
    assert!(bench.get("/").await.1.contains("Sure: mend, prove or hand back"));
    // Taken back, the suspects are open again.
    bench.post("/jobs/1/say", "what=nothing&supersedes=4").await;
    assert!(!bench.get("/jobs/1/find").await.1.contains("class=\"sure\""));
    let (_, file) = bench.get("/jobs/1/evidence.toml").await;
    assert!(file.contains("supply = \"238 V\"") && file.contains("supersedes = 3"), "{file}");
}

#[tokio::test]
async fn what_is_wrong_is_said_with_what_to_do() {
    let bench = Bench::new();
    bench.post("/new", "file=aldermere-tern-81").await;
    for (form, says) in [
        ("what=step&step=warm&watts=warm", "What to do"),
        ("what=check&check=ohms+element.1+element.2&answer=1", "lone 1"),
        ("what=supply&value=2300", "no socket"),
        ("what=complaint&value=%3Cscript%3E", "no function"),
        ("what=nothing&supersedes=77", "no entry 77"),
    ] {
        let (status, _, body) = bench.post("/jobs/1/say", form).await;
        assert!(status.is_client_error() && body.contains(says), "{form}: {status} {body}");
        assert!(!body.contains("<script>"));
    }
    assert_eq!(bench.get("/jobs/99").await.0, StatusCode::NOT_FOUND);
    assert_eq!(bench.get("/machines/..%2f..%2fetc%2fpasswd").await.0, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn programs_get_problem_details() {
    let bench = Bench::new();
    let (status, _, body) = bench.post_json("/api/jobs", r#"{"machine":"polwarren-cockle-52"}"#).await;
    assert_eq!((status, body.as_str()), (StatusCode::CREATED, r#"{"id":1}"#));
    let add = |json: &'static str| bench.post_json("/api/jobs/1/evidence", json);
    assert_eq!(add(r#"{"says":{"complaint":"does not heat"},"key":"a"}"#).await.0, StatusCode::CREATED);
    assert!(add(r#"{"says":{"complaint":"does not heat"},"key":"a"}"#).await.2.contains("\"saved\":1"));
    for bad in [
        r#"{"says":{"complaint":"smells of violets"}}"#,
        r#"{"says":{"reading":"nowhere.1 nowhere.2 = OL"}}"#,
        r#"{"says":{"hello":"you"}}"#,
        r#"{"says":{}}"#,
        "not json",
    ] {
        let (status, head, body) = add(bad).await;
        assert!(status.is_client_error(), "{bad}: {status}");
        assert_eq!(head[header::CONTENT_TYPE], "application/problem+json", "{bad}");
        let details: serde_json::Value = serde_json::from_str(&body).unwrap();
        assert_eq!(details["status"], status.as_u16());
        assert!(!details["remedy"].as_str().unwrap().is_empty());
    }
    let (_, finding) = bench.get("/api/jobs/1/finding").await;
    let finding: serde_json::Value = serde_json::from_str(&finding).unwrap();
    assert!(finding["next"][0]["caution"].is_string());
    let all: f64 =
        finding["suspects"].as_array().unwrap().iter().map(|s| s["probability"].as_f64().unwrap()).sum();
    let rest = finding["healthy"].as_f64().unwrap() + finding["others"].as_f64().unwrap();
    let left_out = finding["left_out"].as_f64().unwrap();
    assert!(all + rest < 1.0 + 1e-9 && all + rest + left_out > 1.0 - 1e-6, "{} {left_out}", all + rest);
}

#[tokio::test]
async fn only_the_bench_itself_may_write() {
    let bench = Bench::new();
    let ask = |host: &'static str, origin: Option<&'static str>| {
        let mut request = Request::post("/new").header(header::HOST, host);
        if let Some(origin) = origin {
            request = request.header(header::ORIGIN, origin);
        }
        request
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from("words=x"))
            .unwrap()
    };
    for (host, origin, status) in [
        (HOST, Some("http://localhost:8423"), StatusCode::SEE_OTHER),
        (HOST, None, StatusCode::SEE_OTHER),
        (HOST, Some("http://evil.example"), StatusCode::FORBIDDEN),
        (HOST, Some("null"), StatusCode::FORBIDDEN),
        ("evil.example", None, StatusCode::MISDIRECTED_REQUEST),
    ] {
        let (answered, head, _) = bench.ask(ask(host, origin)).await;
        assert_eq!(answered, status, "{host} {origin:?}");
        assert!(head[header::CONTENT_SECURITY_POLICY].to_str().unwrap().contains("default-src 'none'"));
    }
    let large = format!("words={}", "x".repeat(100_000));
    assert_eq!(bench.post("/new", &large).await.0, StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test]
async fn on_the_network_only_who_knows_the_passphrase() {
    assert!(Lock::new("short").is_err());
    let folder = tempfile::tempdir().unwrap();
    let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
    let lock = Arc::new(Lock::new("kettle barnacle violin").unwrap());
    let bench = Bench { routes: routes(desk, Door::Network(lock), false), folder };
    assert_eq!(bench.get("/").await.0, StatusCode::SEE_OTHER);
    assert_eq!(bench.get("/api/jobs").await.0, StatusCode::UNAUTHORIZED);
    assert_eq!(bench.post("/new", "words=x").await.0, StatusCode::UNAUTHORIZED);
    assert_eq!(bench.get("/login").await.0, StatusCode::OK);
    assert_eq!(bench.post("/login", "passphrase=kettle").await.0, StatusCode::UNAUTHORIZED);
    let (status, head, _) = bench.post("/login", "passphrase=kettle+barnacle+violin").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let cookie = head[header::SET_COOKIE].to_str().unwrap();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"));
    let session = cookie.split(';').next().unwrap().to_owned();
    for (cookie, wanted) in
        [(session.as_str(), StatusCode::OK), ("wattmend-session=0", StatusCode::SEE_OTHER)]
    {
        let request =
            Request::get("/").header(header::HOST, "bench.home:8423").header(header::COOKIE, cookie);
        assert_eq!(bench.ask(request.body(Body::empty()).unwrap()).await.0, wanted);
    }
    for _ in 0..5 {
        bench.post("/login", "passphrase=guess").await;
    }
    assert_eq!(
        bench.post("/login", "passphrase=kettle+barnacle+violin").await.0,
        StatusCode::TOO_MANY_REQUESTS
    );
}
