//! The game and the fault charts in the browser.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::{Method, StatusCode, header};
use support::{Bench, form};

const SMALL: &str = include_str!("../../machine/tests/good/small.toml");

/// A bench with a small machine, on which games are quick.
async fn small() -> Bench {
    let bench = Bench::new();
    bench.post("/machines/new", &form(&[("kind", "oven"), ("name", "small")])).await;
    bench.post("/machines/small/edit", &form(&[("text", SMALL)])).await;
    bench
}

#[tokio::test]
async fn a_game_is_played_and_scored() {
    let bench = small().await;
    assert!(bench.get("/practise").await.1.contains("/practise/small"));
    let (status, head, _) = bench.send(Method::GET, "/practise/small?hard=on", "", "").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let to = head[header::LOCATION].to_str().unwrap();
    assert!(to.starts_with("/practise/small?seed=") && to.ends_with("&hard=on"), "{to}");
    let (_, begin) = bench.get("/practise/small?seed=5").await;
    assert!(begin.contains("The customer says") && begin.contains("value=\"step heat\""), "{begin}");
    assert!(!begin.contains("It was"), "the fault stays hidden");
    let moves = "m=step+heat&m=ohms+element.1+element.2+off+element.1&m=hint&m=ohms+nowhere.1+element.2";
    let (_, page) = bench.get(&format!("/practise/small?seed=5&{moves}")).await;
    for part in ["Caution.", "Run step heat", "so far", "a hint", "nowhere"] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(page.find("Caution.").unwrap() < page.find("Run step heat").unwrap());
    let (_, end) = bench.get(&format!("/practise/small?seed=5&{moves}&m=mend+element&m=stop")).await;
    for part in ["It was", "The best plan from that complaint", "of 100", "one hint", "Another fault"] {
        assert!(end.contains(part), "{part}: {end}");
    }
    // The address is the whole game: another bench shows the same page.
    let again = small().await;
    let (_, same) = again.get(&format!("/practise/small?seed=5&{moves}&m=mend+element&m=stop")).await;
    assert_eq!(same, end);
}

#[tokio::test]
async fn a_wasted_check_says_what_it_would_have_had_to_show() {
    let bench = small().await;
    // The same reading three times tells nothing the third time.
    let moves = "m=ohms+pump.1+pump.2&m=ohms+pump.1+pump.2&m=ohms+pump.1+pump.2&m=stop";
    let (_, end) = bench.get(&format!("/practise/small?seed=5&{moves}")).await;
    assert!(end.contains("What other steps would have done better"), "{end}");
    assert!(
        end.contains("could not tell the suspects apart") || end.contains("would have had to show"),
        "{end}"
    );
}

#[tokio::test]
async fn what_no_game_has_is_refused_in_words() {
    let bench = small().await;
    let many = "&m=step+heat".repeat(61);
    for (address, says) in [
        ("/practise/small?seed=x".to_owned(), "is no seed"),
        (format!("/practise/small?seed=1{many}"), "60 moves at most"),
        ("/practise/nothing?seed=1".to_owned(), "such machine file"),
        (format!("/practise/small?seed=1&m={}", "x".repeat(201)), "at most"),
    ] {
        let (status, page) = bench.get(&address).await;
        assert!(status.is_client_error() && page.contains(says), "{address}: {status} {page}");
    }
    let odd = "m=&m=%3Cscript%3E&m=mend&m=mend+moon&m=hand&m=name+&a=element.1&b=";
    let (status, page) = bench.get(&format!("/practise/small?seed=1&{odd}")).await;
    assert!(status == StatusCode::OK && !page.contains("<script>"), "{page}");
}

#[tokio::test]
async fn a_chart_of_a_complaint_and_of_the_moment() {
    let bench = small().await;
    let (_, machine) = bench.get("/machines/small").await;
    let link = machine.split("/machines/small/chart?complaint=").nth(1).unwrap().split('"').next().unwrap();
    let (status, page) = bench.get(&format!("/machines/small/chart?complaint={link}")).await;
    assert_eq!(status, StatusCode::OK, "{page}");
    for part in ["Fault chart:", "begin here", "id=\"n1\"", "For competent persons", "Caution."] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let (status, head, svg) =
        bench.send(Method::GET, &format!("/machines/small/chart.svg?complaint={link}"), "", "").await;
    assert_eq!((status, head[header::CONTENT_TYPE].to_str().unwrap()), (StatusCode::OK, "image/svg+xml"));
    assert!(svg.starts_with("<svg") && svg.contains("Fault chart"));
    for address in ["/machines/small/chart", "/machines/small/chart?complaint=sings"] {
        let (status, page) = bench.get(address).await;
        assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("What to do"), "{page}");
    }
    bench.post("/new", "file=small").await;
    assert_eq!(bench.get("/jobs/1/chart").await.0, StatusCode::UNPROCESSABLE_ENTITY);
    let complaint = link.replace("%20", "+");
    bench.post("/jobs/1/say", &format!("what=complaint&value={complaint}")).await;
    assert!(bench.get("/jobs/1/find").await.1.contains("/jobs/1/chart"));
    let (status, page) = bench.get("/jobs/1/chart").await;
    assert!(status == StatusCode::OK && page.contains("begin here"), "{page}");
}

#[tokio::test]
async fn an_instrument_that_is_not_there_is_not_asked_for_again_in_this_job() {
    let bench = Bench::new();
    bench.post("/new", "file=aldermere-tern-81&complaint=washes+cold").await;
    bench.post("/new", "file=aldermere-tern-81&complaint=washes+cold").await;
    let no_meter = form(&[
        ("what", "check"),
        ("check", "ohms element.1 element.2 off element.1"),
        ("answer", "don't have"),
        ("key", "k"),
    ]);
    let (_, _, means) = bench.post("/jobs/1/interpret", &no_meter).await;
    assert!(means.contains("all other checks by that instrument"), "{means}");
    bench.post("/jobs/1/say", &no_meter).await;
    let asks = async |job: u32| {
        let (_, finding) = bench.get(&format!("/api/jobs/{job}/finding")).await;
        let finding: serde_json::Value = serde_json::from_str(&finding).unwrap();
        finding["next"].as_array().unwrap().iter().any(|n| n["instrument"] == "multimeter")
    };
    assert!(!asks(1).await, "asked for again");
    assert!(asks(2).await, "another job still asks");
    let (_, find) = bench.get("/jobs/1/find").await;
    assert!(find.contains("Undo the last:") && find.contains("no such instrument here"), "{find}");
    bench.post("/jobs/1/say", "what=nothing&supersedes=2").await;
    assert!(asks(1).await, "taken back, it is asked for again");
}
