//! A visit by forms: call, find, agree, mend, prove; and what nobody may do on the way.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use proptest::prelude::*;
use support::visit::{PASS, TERN, ask, asked, bench, between, found, prove_all, send};
use support::{Bench, HOST, form};

#[tokio::test]
async fn what_was_tested_before_another_part_was_fitted_does_not_count() {
    let bench = bench().await;
    let job = found(&bench).await;
    let fitted = |part| [("what", "fitted"), ("part", part), ("done", "fitted")];
    send(&bench, &job, "mend", &fitted("element"), StatusCode::SEE_OTHER).await;
    assert!(prove_all(&bench, &job).await.contains("FIT. Fit to hand back"));
    assert!(bench.get(&format!("{job}/mend")).await.1.contains("yes, it works"));
    // A serial number put right is no new work on the machine.
    let log = bench.get(&format!("/api{job}/evidence")).await.1;
    let log: serde_json::Value = serde_json::from_str(&log).unwrap();
    let of_fitting = |e: &&serde_json::Value| e["says"].get("fitted").is_some();
    let entry = log["evidence"].as_array().unwrap().iter().find(of_fitting).unwrap()["number"].clone();
    let right = serde_json::json!({ "says": { "fitted": "element", "serial": "E-77" }, "supersedes": entry });
    let (status, _, body) = bench.post_json(&format!("/api{job}/evidence"), &right.to_string()).await;
    assert_eq!(status, StatusCode::CREATED, "{body}");
    assert!(bench.get(&format!("{job}/prove")).await.1.contains("FIT. Fit to hand back"));
    // Another part is: all is to be tested again, and until then nobody has it run.
    let mend = send(&bench, &job, "mend", &fitted("tub-probe"), StatusCode::SEE_OTHER).await;
    assert!(mend.contains("Not yet:") && !mend.contains("yes, it works"), "{mend}");
    let page = bench.get(&format!("{job}/prove")).await.1;
    assert_eq!(asked(&page).unwrap().0, "visual inspection");
    assert!(page.contains("does not count: tub-probe was worked on after it"), "{page}");
    assert!(!page.contains("FIT. Fit to hand back") && !page.contains("Sign off"), "{page}");
    assert!(prove_all(&bench, &job).await.contains("FIT. Fit to hand back"));
}

#[tokio::test]
async fn an_instrument_out_of_calibration_is_named_where_it_is_used() {
    let bench = Bench::new();
    let new = form(&[("file", TERN), ("complaint", "does not heat")]);
    let (_, head, _) = bench.post("/new", &new).await;
    let job = head[header::LOCATION].to_str().unwrap().to_owned();
    for (due, said) in [("2020-03-01", true), ("2999-03-01", false), ("", false)] {
        let owned = [("power-meter", "on"), ("power-meter-due", due), ("multimeter", "on")];
        let (status, ..) = bench.post("/settings", &form(&owned)).await;
        assert_eq!(status, StatusCode::SEE_OTHER);
        let (_, settings) = bench.get("/settings").await;
        assert!(settings.contains(&format!("name=\"power-meter-due\" type=\"date\" value=\"{due}\"")));
        let (_, page) = bench.get(&job).await;
        let warned = page.contains("The calibration of your power meter at the plug ran out on 2020-03-01");
        assert_eq!(warned, said, "{due}");
    }
}

#[tokio::test]
async fn a_visit_from_the_call_to_the_signed_safety_test() {
    let bench = bench().await;
    let job = found(&bench).await;
    // Find asks for the repair and sends on to where it is agreed on and fitted.
    let find = bench.get(&format!("{job}/find")).await.1;
    assert!(find.contains("Fit it, under Mend") && !find.contains("value=\"yes\""), "{find}");
    // Agree: a price with tax, which follows the price of the part; then the question whether it is worth it.
    let agree = bench.get(&format!("{job}/agree")).await.1;
    assert!(agree.contains("EUR with VAT") && agree.contains("price guessed"), "{agree}");
    let prices =
        [("what", "prices"), ("price-element", "38,00"), ("assume-age", "9"), ("assume-new-price", "550")];
    let agree = send(&bench, &job, "agree", &prices, StatusCode::SEE_OTHER).await;
    // 38 with a quarter on top is 47.50.
    assert!(
        agree.contains("47.50") && agree.contains("comes to about") && agree.contains("you decide"),
        "{agree}"
    );
    assert!(agree.contains("value=\"38,00\"") && agree.contains("Tecchio"), "{agree}");
    for (field, value) in
        [("price-element", "much"), ("assume-age", "-3"), ("assume-age", "900"), ("price-x", "3")]
    {
        let bad = [("what", "prices"), (field, value)];
        send(&bench, &job, "agree", &bad, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let offer = between(&agree, "rows=\"2\">", "</textarea>").unwrap_or_default();
    let offer = if offer.is_empty() { "131.00 EUR: a new element" } else { offer };
    let decide = |more: &[(&'static str, &'static str)]| {
        let base = [("what", "decide"), ("offer", offer), ("decision", "agreed"), ("parts", "element")];
        base.iter().copied().chain(more.iter().copied()).collect::<Vec<_>>()
    };
    for (missing, says) in [
        (vec![("name", "A. Net")], "tick"),
        (vec![("tick", "yes")], "name"),
        (vec![("name", "A. Net"), ("tick", "yes"), ("signature", "<svg>")], "signature"),
        (vec![("name", "A. Net"), ("tick", "yes"), ("parts", "sail")], "no part"),
    ] {
        let page = send(&bench, &job, "agree", &decide(&missing), StatusCode::UNPROCESSABLE_ENTITY).await;
        assert!(page.contains(says), "{page}");
    }
    let signed = decide(&[("name", "A. Net"), ("tick", "yes"), ("signature", "M1 2L30 40L50 60")]);
    let agree = send(&bench, &job, "agree", &signed, StatusCode::SEE_OTHER).await;
    assert!(
        agree.contains("✓ Agreed") && agree.contains("d=\"M1 2L30 40L50 60\"") && agree.contains("A. Net")
    );
    assert!(bench.get("/").await.1.contains("Agreed: mend element"));
    // Mend: what was agreed on, with its way and caution; Find learns that it works.
    let mend = bench.get(&format!("{job}/mend")).await.1;
    assert!(mend.contains("agreed on") && mend.contains("Off come") && mend.contains("Unplug it"), "{mend}");
    let fitted =
        [("what", "fitted"), ("part", "element"), ("done", "fitted"), ("serial", "77"), ("old", "OL")];
    let mend = send(&bench, &job, "mend", &fitted, StatusCode::SEE_OTHER).await;
    assert!(
        mend.contains("the old one read OL") && mend.contains("element mended: does the machine work now?")
    );
    // Not before earth and insulation have passed: the page has no button for it, and nobody is believed who says so.
    assert!(
        ["Not yet:", "protective conductor resistance", "insulation resistance"]
            .iter()
            .all(|t| mend.contains(t))
            && !mend.contains("yes, it works"),
        "{mend}"
    );
    let works = |entry| [("what", "works"), ("part", "element"), ("supersedes", entry), ("answer", "yes")];
    let page = send(&bench, &job, "mend", &works(""), StatusCode::UNPROCESSABLE_ENTITY).await;
    assert!(page.contains("not yet"), "{page}");
    let says = r#"{"says":{"mended":"element","cured":true}}"#;
    let (status, _, body) = bench.post_json(&format!("/api{job}/evidence"), says).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && body.contains("not yet"), "{status} {body}");
    // Nor is it taken as the answer to what Find asked for.
    let answered = [("what", "check"), ("check", "mend element"), ("answer", "yes")];
    let page = send(&bench, &job, "say", &answered, StatusCode::UNPROCESSABLE_ENTITY).await;
    assert!(page.contains("not yet"), "{page}");
    for says in [
        r#"{"says":{"check":"mend element","answer":"yes"}}"#,
        r#"{"says":{"check":" mend  element","answer":"No"}}"#,
    ] {
        let (status, _, body) = bench.post_json(&format!("/api{job}/evidence"), says).await;
        assert!(status == StatusCode::UNPROCESSABLE_ENTITY && body.contains("not yet"), "{status} {body}");
    }
    // Prove, test by test, to the sign-off.
    let page = bench.get(&format!("{job}/prove")).await.1;
    assert_eq!(asked(&page).unwrap().0, "visual inspection");
    assert!(page.contains("step warm") && !page.contains("Sign off"), "{page}");
    let early = [("report", "Fit to hand back: every test that applies has passed."), ("name", "Ann")];
    send(&bench, &job, "sign", &early, StatusCode::UNPROCESSABLE_ENTITY).await;
    let page = prove_all(&bench, &job).await;
    assert!(page.contains("FIT. Fit to hand back") && page.contains("Guard band"), "{page}");
    // Now it may have run.
    let mend = bench.get(&format!("{job}/mend")).await.1;
    let entry = between(
        &mend,
        "name=\"part\" value=\"element\"><input type=\"hidden\" name=\"supersedes\" value=\"",
        "\"",
    );
    let mend = send(&bench, &job, "mend", &works(entry.unwrap()), StatusCode::SEE_OTHER).await;
    assert!(mend.contains("element fitted: it works"), "{mend}");
    let file = bench.get(&format!("{job}/evidence.toml")).await.1;
    assert!(file.contains("mended = \"element\"\ncured = true") && !file.contains("offer"), "{file}");
    let report = between(&page, "name=\"report\" value=\"", "\"").unwrap().to_owned();
    send(&bench, &job, "sign", &[("report", &report)], StatusCode::UNPROCESSABLE_ENTITY).await;
    send(&bench, &job, "sign", &[("report", "Not so"), ("name", "Ann")], StatusCode::UNPROCESSABLE_ENTITY)
        .await;
    let page =
        send(&bench, &job, "sign", &[("report", &report), ("name", "Ann")], StatusCode::SEE_OTHER).await;
    assert!(page.contains("✓ Signed by Ann"), "{page}");
    assert!(bench.get("/").await.1.contains("Signed off: Fit to hand back"));
    // What changes afterwards shows.
    let again = [("what", "safety"), ("of", "protective conductor resistance"), ("value", "0R11")];
    let page = send(&bench, &job, "prove", &again, StatusCode::SEE_OTHER).await;
    assert!(page.contains("sign again"), "{page}");
    // All of it stands on the sheet, also after the bench was opened anew.
    let bench = bench.again();
    let sheet = bench.get(&job).await.1;
    for part in ["✓ Agreed", "element fitted", "sign again", "Hand over"] {
        assert!(sheet.contains(part), "{part}");
    }
}

#[tokio::test]
async fn declined_is_kept_with_why() {
    let bench = bench().await;
    let job = found(&bench).await;
    let declined =
        [("what", "decide"), ("offer", "131.00 EUR"), ("name", "A. Net"), ("decision", "declined")];
    let page = send(&bench, &job, "agree", &declined, StatusCode::UNPROCESSABLE_ENTITY).await;
    assert!(page.contains("why"), "{page}");
    let why = [&declined[..], &[("why", "buys a new one"), ("tick", "yes")]].concat();
    let page = send(&bench, &job, "agree", &why, StatusCode::SEE_OTHER).await;
    assert!(page.contains("✗ Declined") && page.contains("buys a new one"), "{page}");
    assert!(bench.get("/").await.1.contains("Declined: buys a new one"));
    let log = bench.get(&format!("/api{job}/evidence")).await.1;
    assert!(log.contains("\"agreed\":false") && log.contains("\"why\":\"buys a new one\""), "{log}");
}

#[tokio::test]
async fn a_failed_continuity_test_stops_the_rest() {
    let bench = bench().await;
    let job = found(&bench).await;
    let reading = |of: &'static str, value: &'static str| {
        [("what", "safety"), ("of", of), ("value", value), ("tester", "tester 7")]
    };
    let pass = [("what", "safety"), ("of", "visual inspection"), ("answer", "pass")];
    send(&bench, &job, "prove", &pass, StatusCode::SEE_OTHER).await;
    let page = send(
        &bench,
        &job,
        "prove",
        &reading("protective conductor resistance", "2R1"),
        StatusCode::SEE_OTHER,
    )
    .await;
    assert!(page.contains("NOT FIT.") && page.contains("FAIL") && page.contains("Look for:"), "{page}");
    // Nothing asks for what is blocked, and nothing of it is taken, by form or by program.
    assert_eq!(asked(&page), None);
    for of in ["insulation resistance", "protective conductor current", "functional test"] {
        assert!(!page.contains(&format!("name=\"of\" value=\"{of}\"")), "{of}");
        let answer = match of {
            "functional test" => "pass",
            "insulation resistance" => ">299M",
            _ => "0.4 mA",
        };
        let page = send(&bench, &job, "prove", &reading(of, answer), StatusCode::UNPROCESSABLE_ENTITY).await;
        assert!(page.contains("not yet: protective conductor resistance"), "{page}");
    }
    let (status, _, body) =
        bench.post_json(&format!("/api{job}/evidence"), r#"{"says":{"safety":"insulation = >299M"}}"#).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && body.contains("not yet"), "{status} {body}");
    // Put right: the old reading is taken back, the new one passes, and the next test is asked for.
    let entry = between(&page, "name=\"supersedes\" value=\"", "\"><span><span translate=\"no\">protective")
        .map(str::to_owned);
    let entry = entry.unwrap_or_default();
    let entry = entry.rsplit('"').next().unwrap().to_owned();
    send(&bench, &job, "prove", &[("what", "nothing"), ("supersedes", &entry)], StatusCode::SEE_OTHER).await;
    let page = send(
        &bench,
        &job,
        "prove",
        &reading("protective conductor resistance", "0R09"),
        StatusCode::SEE_OTHER,
    )
    .await;
    assert_eq!(asked(&page).unwrap().0, "insulation resistance");
}

#[tokio::test]
async fn only_a_technician_signs_a_safety_test_off() {
    let bench = bench().await;
    let job = found(&bench).await;
    let page = prove_all(&bench, &job).await;
    let report = between(&page, "name=\"report\" value=\"", "\"").unwrap().to_owned();
    let (_, ann, _) =
        ask(&bench, "", "/settings/people", &[("name", "Ann"), ("role", "technician"), ("passphrase", PASS)])
            .await;
    let mut cookies = Vec::new();
    for (name, role) in [("Odo", "office"), ("Ali", "apprentice")] {
        ask(&bench, &ann, "/settings/people", &[("name", name), ("role", role), ("passphrase", PASS)]).await;
        cookies.push(ask(&bench, "", "/login", &[("name", name), ("passphrase", PASS)]).await.1);
    }
    let (prove, sign, by_program) =
        (format!("{job}/prove"), format!("{job}/sign"), format!("/api{job}/evidence"));
    for cookie in &cookies {
        let page = ask(&bench, cookie, &prove, &[]).await.2;
        assert!(page.contains("A technician looks at this") && !page.contains(&format!("action=\"{sign}\"")));
        assert_eq!(ask(&bench, cookie, &sign, &[("report", &report)]).await.0, StatusCode::FORBIDDEN);
        let request = Request::post(&by_program)
            .header(header::HOST, HOST)
            .header(header::COOKIE, cookie)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(format!("{{\"says\":{{\"signed\":\"Ali\",\"report\":\"{report}\"}}}}")))
            .unwrap();
        assert_eq!(bench.ask(request).await.0, StatusCode::FORBIDDEN);
    }
    // The office agrees a price and takes no reading; an apprentice takes readings.
    let declined =
        [("what", "decide"), ("offer", "9 EUR"), ("name", "N"), ("decision", "declined"), ("why", "dear")];
    let reading = [("what", "safety"), ("of", "earth bond"), ("value", "0R1")];
    let agree = format!("{job}/agree");
    assert_eq!(ask(&bench, &cookies[0], &agree, &declined).await.0, StatusCode::SEE_OTHER);
    assert_eq!(ask(&bench, &cookies[0], &prove, &reading).await.0, StatusCode::FORBIDDEN);
    assert_eq!(ask(&bench, &cookies[1], &prove, &reading).await.0, StatusCode::SEE_OTHER);
    assert_eq!(ask(&bench, &ann, &sign, &[("report", &report)]).await.0, StatusCode::SEE_OTHER);
    let page = ask(&bench, &ann, &prove, &[]).await.2;
    assert!(page.contains("✓ Signed by Ann, technician"), "{page}");
    // What was signed is not taken back by anyone else.
    // The newest entry of the log is the sign-off.
    let log = ask(&bench, &ann, &by_program, &[]).await.2;
    let newest = log.rsplit("{\"number\":").next().unwrap().split(',').next().unwrap().to_owned();
    let back = [("what", "nothing"), ("supersedes", newest.as_str())];
    assert_eq!(ask(&bench, &cookies[1], &prove, &back).await.0, StatusCode::FORBIDDEN);
    assert_eq!(ask(&bench, &ann, &prove, &back).await.0, StatusCode::SEE_OTHER);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Whatever is typed as a reading, the page answers: kept, or refused with a remedy.
    #[test]
    fn no_reading_can_break_the_page(of in "(earth bond|insulation|step warm|visual|.{0,12})", value in ".{0,40}") {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let bench = Bench::new();
            bench.post("/new", &form(&[("file", TERN)])).await;
            let fields = [("what", "safety"), ("of", of.as_str()), ("value", value.as_str()), ("accuracy", value.as_str())];
            let (status, _, page) = bench.post("/jobs/1/prove", &form(&fields)).await;
            assert!(status == StatusCode::SEE_OTHER || page.contains("What to do"), "{status} {page}");
            assert_eq!(bench.get("/jobs/1/prove").await.0, StatusCode::OK);
        });
    }
}
