//! `chart`: what it refuses, what it prints and draws, and what its JSON holds.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use serde_json::Value;
use std::path::Path;
use support::{expected, same_as, wattmend, wattmend_wide};

const SMALL: &str = "good/small.toml";

#[test]
fn each_refusal_has_its_code_and_says_what_to_do() {
    for (code, arguments, words) in [
        (2, &["--complaint"][..], "value is required"),
        (2, &["--complaint", "does not heat", "--depth", "0"], "--depth"),
        (2, &["--complaint", "does not heat", "--json", "--svg", "-"], "cannot be used with"),
        (4, &[], "a chart begins with a complaint"),
        (4, &["--complaint", "smells of fish"], "say one of: does not heat"),
        (4, &["--complaint", "does not heat", "--rare", "much"], "--rare 1%"),
        (4, &["--complaint", "does not heat", "--rare", "0"], "--rare 1%"),
        (4, &["--complaint", "does not heat", "--instruments", "hammer"], "instruments: power-meter"),
        (4, &["--complaint", "does not heat", "--supply", "230 W"], "a voltage is wanted"),
        (5, &["--complaint", "does not heat", "--svg", "no/such/folder/chart.svg"], "cannot be written"),
    ] {
        let printed = wattmend(&[&["chart", SMALL], arguments].concat());
        assert_eq!(printed.code, code, "{arguments:?}\n{}{}", printed.out, printed.err);
        assert!(printed.err.contains(words), "{arguments:?}\n{}", printed.err);
        assert!(printed.out.is_empty());
    }
}

#[test]
fn a_chart_is_printed_on_80_columns() {
    let printed = wattmend(&["chart", SMALL, "--complaint", "does not heat", "--supply", "230V"]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    assert!(printed.out.lines().all(|l| l.chars().count() <= 80), "{}", printed.out);
    same_as(&expected("chart.txt"), &printed.out);
    let narrow = wattmend_wide(&["chart", SMALL, "--complaint", "does not heat", "--max-nodes", "3"], 60);
    assert!(narrow.out.lines().all(|l| l.chars().count() <= 60), "{}", narrow.out);
}

/// Every number that a chart sends to is there, and every place but the first is sent to once.
#[test]
fn the_numbers_lead_somewhere() {
    let printed = wattmend(&["chart", SMALL, "--complaint", "does not heat", "--json"]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    let chart: Value = serde_json::from_str(&printed.out).unwrap();
    let nodes = chart["nodes"].as_array().unwrap();
    let branches = || nodes.iter().flat_map(|n| n["branches"].as_array().unwrap());
    let mut sent: Vec<u64> = branches().filter_map(|b| b["next"].as_u64()).collect();
    sent.sort_unstable();
    assert_eq!(sent, (2..=nodes.len() as u64).collect::<Vec<_>>());
    for node in nodes {
        let sum: f64 =
            node["branches"].as_array().unwrap().iter().map(|b| b["probability"].as_f64().unwrap()).sum();
        assert!((sum - 1.0).abs() < 1e-4, "{node:#}");
        assert!(node["does"] != "mend" || !node["caution"].as_str().unwrap().is_empty(), "{node:#}");
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/chart-json.md");
    let document = std::fs::read_to_string(path).unwrap();
    for key in keys(&chart) {
        let described = ["", "[]"].iter().any(|end| document.contains(&format!("`{key}{end}`")));
        assert!(described, "docs/chart-json.md does not describe `{key}`");
    }
}

/// Keys but those of `check`, which docs/find-json.md describes, and names of the machine's own.
fn keys(value: &Value) -> Vec<String> {
    match value {
        Value::Object(object) => object
            .iter()
            .flat_map(|(key, value)| {
                let elsewhere = matches!(key.as_str(), "faults" | "check");
                std::iter::once(key.clone()).chain(if elsewhere { Vec::new() } else { keys(value) })
            })
            .collect(),
        Value::Array(items) => items.iter().flat_map(keys).collect(),
        _ => Vec::new(),
    }
}

#[test]
fn a_chart_is_drawn_with_every_caution() {
    let drawn = wattmend(&["chart", SMALL, "--complaint", "does not heat", "--svg", "-"]);
    assert_eq!(drawn.code, 0, "{}", drawn.err);
    let printed = wattmend(&["chart", SMALL, "--complaint", "does not heat"]);
    let count = |text: &str, what: &str| text.matches(what).count();
    assert_eq!(count(&drawn.out, "CAUTION:"), count(&printed.out, "CAUTION:"));
    assert!(drawn.out.starts_with("<svg ") && drawn.out.contains("width=\"210mm\""));
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("chart.svg");
    let written =
        wattmend(&["chart", SMALL, "--complaint", "does not heat", "--svg", path.to_str().unwrap()]);
    assert_eq!(written.code, 0);
    assert_eq!(std::fs::read_to_string(path).unwrap(), drawn.out);
}
