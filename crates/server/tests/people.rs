//! People, their roles and sessions: who comes in, and who may do what.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::body::Body;
use axum::http::{HeaderMap, Request, StatusCode, header};
use server::{Desk, Door, Lock, routes};
use std::sync::Arc;
use support::{Bench, HOST, form};

const PASS: &str = "kettle barnacle violin";

/// Asks with a cookie, as a form or, with an empty one, for a page.
async fn ask(
    bench: &Bench,
    cookie: &str,
    path: &str,
    fields: &[(&str, &str)],
) -> (StatusCode, HeaderMap, String) {
    let request = if fields.is_empty() { Request::get(path) } else { Request::post(path) };
    let request = request
        .header(header::HOST, HOST)
        .header(header::COOKIE, cookie)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    bench.ask(request.body(Body::from(form(fields))).unwrap()).await
}

fn cookie(head: &HeaderMap) -> String {
    let set = head[header::SET_COOKIE].to_str().unwrap();
    assert!(set.contains("HttpOnly") && set.contains("SameSite=Strict") && set.contains("Path=/"), "{set}");
    set.split(';').next().unwrap().to_owned()
}

/// A bench with a technician, who was the first, and one of each other role; their cookies.
async fn firm() -> (Bench, [String; 3]) {
    let bench = Bench::new();
    let add = [("name", "Ann"), ("role", "technician"), ("passphrase", PASS)];
    let (status, head, _) = ask(&bench, "", "/settings/people", &add).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let ann = cookie(&head);
    let mut all = vec![ann.clone()];
    for (name, role) in [("Odo", "office"), ("Ali", "apprentice")] {
        let add = [("name", name), ("role", role), ("passphrase", PASS)];
        assert_eq!(ask(&bench, &ann, "/settings/people", &add).await.0, StatusCode::SEE_OTHER);
        let (status, head, _) = ask(&bench, "", "/login", &[("name", name), ("passphrase", PASS)]).await;
        assert_eq!(status, StatusCode::SEE_OTHER);
        all.push(cookie(&head));
    }
    (bench, all.try_into().unwrap())
}

#[tokio::test]
async fn from_the_first_person_on_the_bench_asks_who_comes() {
    let bench = Bench::new();
    let apprentice = [("name", "Ali"), ("role", "apprentice"), ("passphrase", PASS)];
    let (status, _, page) = ask(&bench, "", "/settings/people", &apprentice).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("What to do"), "{page}");
    let short = [("name", "Ann"), ("role", "technician"), ("passphrase", "short")];
    assert_eq!(ask(&bench, "", "/settings/people", &short).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(bench.get("/").await.0, StatusCode::OK);
    let (bench, [ann, ..]) = firm().await;
    assert_eq!(bench.get("/").await.0, StatusCode::SEE_OTHER);
    assert_eq!(bench.get("/api/jobs").await.0, StatusCode::UNAUTHORIZED);
    assert_eq!(ask(&bench, &ann, "/", &[]).await.0, StatusCode::OK);
    // Sessions outlive the program; logging out ends one.
    let bench = bench.again();
    assert_eq!(ask(&bench, &ann, "/", &[]).await.0, StatusCode::OK);
    ask(&bench, &ann, "/logout", &[("x", "")]).await;
    assert_eq!(ask(&bench, &ann, "/", &[]).await.0, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn each_role_does_its_own_work() {
    let (bench, [ann, odo, ali]) = firm().await;
    ask(&bench, &odo, "/new", &[("file", "polwarren-cockle-52"), ("words", "it hums")]).await;
    let supply: &[(&str, &str)] = &[("what", "supply"), ("value", "238")];
    let words: &[(&str, &str)] = &[("what", "words"), ("value", "it hums loudly")];
    let name: &[(&str, &str)] = &[("name", "Mrs Penrose")];
    let text: &[(&str, &str)] = &[("text", "# mine")];
    let rate: &[(&str, &str)] = &[("rate", "60")];
    let end: &[(&str, &str)] = &[("what", "end")];
    let looks: &[(&str, &str)] = &[];
    let named: &[(&str, &str)] = &[("file", "polwarren-cockle-52"), ("name", "Mrs Penrose")];
    let sure: &[(&str, &str)] = &[("sure", "yes")];
    let takes_back: &[(&str, &str)] = &[("what", "nothing"), ("supersedes", "2")];
    // What the office may not say, it may not take back either.
    let reads = [("what", "supply"), ("value", "231")];
    assert_eq!(ask(&bench, &ann, "/jobs/1/say", &reads).await.0, StatusCode::SEE_OTHER);
    for (path, fields, may) in [
        ("/jobs/1/say", supply, [true, false, true]),
        ("/jobs/1/say", words, [true, true, true]),
        ("/jobs/1/say", takes_back, [true, false, true]),
        ("/jobs/1/live", end, [true, false, true]),
        ("/jobs/1/customer", name, [true, true, false]),
        ("/new", named, [true, true, false]),
        ("/jobs/1/attached/1/erase", sure, [true, false, false]),
        ("/sockets", text, [true, false, false]),
        ("/sockets/1/try", sure, [true, false, false]),
        ("/machines/polwarren-cockle-52/edit", text, [true, false, false]),
        ("/settings", rate, [true, true, false]),
        ("/settings", looks, [true, true, true]),
        ("/settings/people", looks, [true, true, false]),
        ("/practise", looks, [true, true, true]),
    ] {
        for (who, may) in [&ann, &odo, &ali].into_iter().zip(may) {
            let (status, _, page) = ask(&bench, who, path, fields).await;
            assert_eq!(status != StatusCode::FORBIDDEN, may, "{path} {fields:?}: {status} {page}");
            assert!(may || page.contains("your role in the firm does not do this"), "{page}");
        }
    }
}

#[tokio::test]
async fn a_meters_file_is_shown_to_who_may_change_it() {
    let (bench, [ann, odo, ali]) = firm().await;
    std::fs::write(bench.folder.path().join("meters.toml"), "# password = \"hidden\"\n").unwrap();
    for (who, sees) in [(&ann, true), (&odo, false), (&ali, false)] {
        let (status, _, page) = ask(&bench, who, "/sockets", &[]).await;
        assert_eq!(status, StatusCode::OK);
        assert_eq!(page.contains("hidden&#34;") || page.contains("= \"hidden"), sees, "{page}");
    }
}

#[tokio::test]
async fn a_page_names_no_file_of_this_computer() {
    let bench = Bench::new();
    for kind in ["growing-file", "replay", "simulator"] {
        let key = if kind == "simulator" { "machine" } else { "file" };
        let head = "format = 1\n[[socket]]\nname = \"bench\"\n";
        let text = format!("{head}kind = \"{kind}\"\n{key} = \"/etc/passwd\"\n");
        let (status, _, page) = bench.post("/sockets", &form(&[("text", &text)])).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{page}");
        assert!(page.contains("/etc/passwd is not in the file yet"), "{kind}: {page}");
        assert!(page.contains("data-refused"), "{page}");
    }
    // What is neither a socket nor a comment is looked at as well.
    let (status, _, page) = bench.post("/sockets", &form(&[("text", "sockets = 3")])).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{page}");
}

#[tokio::test]
async fn what_one_person_typed_does_not_go_out_as_said_by_another() {
    let (bench, [ann, odo, _]) = firm().await;
    ask(&bench, &ann, "/new", &[("file", "polwarren-cockle-52")]).await;
    let key = |page: &str| page.split("data-who=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let (anns, odos) = (key(&ask(&bench, &ann, "/", &[]).await.2), key(&ask(&bench, &odo, "/", &[]).await.2));
    assert_ne!(anns, odos);
    assert!(!bench.get("/login").await.1.contains("data-who"));
    for (typed_by, wanted) in [(&anns, StatusCode::UNAUTHORIZED), (&odos, StatusCode::SEE_OTHER)] {
        let request = Request::post("/jobs/1/say")
            .header(header::HOST, HOST)
            .header(header::COOKIE, &odo)
            .header("wattmend-typed-by", typed_by)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        let fields = form(&[("what", "words"), ("value", "it hums")]);
        let (status, _, page) = bench.ask(request.body(Body::from(fields)).unwrap()).await;
        assert_eq!(status, wanted, "{page}");
    }
    let (_, _, page) = ask(&bench, &ann, "/api/jobs/1/evidence", &[]).await;
    assert_eq!(page.matches("it hums").count(), 1, "{page}");
}

#[tokio::test]
async fn somebody_can_always_change_the_people() {
    let (bench, [ann, odo, ali]) = firm().await;
    let (_, _, page) = ask(&bench, &ann, "/settings/people", &[]).await;
    let number = |name: &str| {
        let at = page.find(&format!("<h2><span translate=\"no\">{name}</span> ")).unwrap();
        page[at..].split("name=\"number\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
    };
    let (a, o) = (number("Ann"), number("Odo"));
    assert_eq!(ask(&bench, &ann, "/settings/people/leave", &[("number", &o)]).await.0, StatusCode::SEE_OTHER);
    assert_eq!(ask(&bench, &odo, "/", &[]).await.0, StatusCode::SEE_OTHER);
    for (path, fields) in [
        ("/settings/people/leave", vec![("number", a.as_str())]),
        ("/settings/people/role", vec![("number", a.as_str()), ("role", "apprentice")]),
    ] {
        let (status, _, page) = ask(&bench, &ann, path, &fields).await;
        assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("What to do"), "{path}: {page}");
    }
    assert_eq!(ask(&bench, &ali, "/", &[]).await.0, StatusCode::OK);
}

#[tokio::test]
async fn guesses_are_slowed_down_for_each_name() {
    let (bench, _) = firm().await;
    for n in 0..6 {
        let (status, _, page) =
            ask(&bench, "", "/login", &[("name", "Ann"), ("passphrase", "a guess")]).await;
        let wanted = if n < 5 { StatusCode::UNAUTHORIZED } else { StatusCode::TOO_MANY_REQUESTS };
        assert_eq!(status, wanted, "{page}");
        assert!(page.contains("role=\"alert\"") && page.contains("value=\"Ann\""), "{page}");
    }
    let right = [("name", "ANN"), ("passphrase", PASS)];
    assert_eq!(ask(&bench, "", "/login", &right).await.0, StatusCode::TOO_MANY_REQUESTS);
    let (status, ..) = ask(&bench, "", "/login", &[("name", "Odo"), ("passphrase", PASS)]).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let long = "x".repeat(101);
    let (status, ..) = ask(&bench, "", "/login", &[("name", &long), ("passphrase", PASS)]).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    // Nobody of that name, and the bench's own passphrase where it has none: the same answer.
    for name in ["Zoe", ""] {
        let (status, ..) = ask(&bench, "", "/login", &[("name", name), ("passphrase", PASS)]).await;
        assert_eq!(status, StatusCode::UNAUTHORIZED);
    }
}

#[tokio::test]
async fn over_tls_the_cookie_is_never_sent_in_the_clear() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
    let lock = Arc::new(Lock::new(PASS).unwrap());
    let bench = Bench { routes: routes(desk, Door::Network(lock), true), folder };
    let (status, head, _) = ask(&bench, "", "/login", &[("passphrase", PASS)]).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(head[header::SET_COOKIE].to_str().unwrap().contains("; Secure"));
}
