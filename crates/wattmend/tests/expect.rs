//! `expect`: the table, its JSON, and the ohmmeter.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use serde_json::Value;
use support::{expected, same_as, wattmend, wattmend_wide};

fn json(arguments: &[&str]) -> Value {
    let printed = wattmend(arguments);
    assert_eq!(printed.code, 0, "{}", printed.err);
    serde_json::from_str(&printed.out).unwrap()
}

#[test]
fn the_tables_read_as_stored() {
    for (name, arguments) in [
        ("healthy.txt", &["--supply", "239V", "--meter", "1% 1W"][..]),
        ("unmeasured.txt", &[]),
        ("element-open.txt", &["--supply", "230V", "--fault", "element=open"]),
        ("probe-open.txt", &["--supply", "230V", "--fault", "probe=open", "--water", "5l"]),
        ("one-step.txt", &["--supply", "230V", "--step", "heat"]),
        ("between.txt", &["--between", "J2.1", "neutral", "--unplug", "J2"]),
        ("between-fault.txt", &["--between", "J3.1", "J3.2", "--unplug", "J3", "--fault", "probe=short"]),
    ] {
        let printed = wattmend(&[&["expect", "good/small.toml"], arguments].concat());
        assert_eq!(printed.code, 0, "{name}: {}", printed.err);
        same_as(&expected(name), &printed.out);
    }
}

/// 1850 W at 230 V take 1850 · (239/230)² at 239 V; the board's 2 W and the lock's heater come on top.
#[test]
fn watts_follow_the_square_of_the_supply() {
    let at = |volts: &str| {
        json(&["expect", "good/small.toml", "--supply", volts, "--json"])["steps"][0]["healthy"]["power_w"]
        ["value"]
        .as_f64()
        .unwrap()
    };
    let ratio = at("239V") / at("230V");
    assert!((ratio - (239.0f64 / 230.0).powi(2)).abs() < 0.002, "{ratio}");
}

#[test]
fn an_open_element_takes_the_watts_and_leaves_the_rest() {
    let answer =
        json(&["expect", "good/small.toml", "--supply", "230V", "--fault", "element=open", "--json"]);
    let steps = answer["steps"].as_array().unwrap();
    assert!(steps[0]["healthy"]["power_w"]["value"].as_f64().unwrap() > 1700.0);
    assert!(steps[0]["with_faults"]["power_w"]["value"].as_f64().unwrap() < 20.0);
    assert!(steps[1]["differs"].as_array().unwrap().is_empty(), "{}", steps[1]["differs"]);
}

/// The danger after a step stands above the step it leads into.
#[test]
fn cautions_come_before_the_step() {
    let printed = wattmend(&["expect", "good/small.toml"]);
    let caution = printed.out.find("The tub is hot.").unwrap();
    let drain = printed.out.find("\n2 drain").unwrap();
    assert!(caution < drain);
    let between = &printed.out[caution..drain];
    assert!(!between.contains("then press"), "something stands between caution and step:\n{between}");
}

#[test]
fn no_line_is_wider_than_the_screen() {
    for columns in [60, 80, 100] {
        for arguments in [
            &["expect", "good/small.toml", "--fault", "element=open"][..],
            &["expect", "good/small.toml", "--between", "J2.1", "neutral"],
            &["machine", "show", "good/small.toml"],
            &["machine", "kinds"],
            &["machine", "kinds", "brushed motor"],
        ] {
            for line in wattmend_wide(arguments, columns).out.lines() {
                assert!(line.chars().count() <= columns, "{columns}: {line}");
            }
        }
    }
}

/// Keys of the JSON are promised in docs/json.md, with this very answer as the example.
#[test]
fn the_documented_example_is_what_comes_out() {
    let printed = wattmend(&[
        "expect",
        "good/small.toml",
        "--supply",
        "230V",
        "--fault",
        "element=open",
        "--step",
        "heat",
        "--json",
    ]);
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/json.md");
    let document = std::fs::read_to_string(&path).unwrap();
    let (start, rest) = document.split_once("<!-- example: expect -->\n```json\n").unwrap();
    let (example, end) = rest.split_once("```\n").unwrap();
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        let renewed = format!("{start}<!-- example: expect -->\n```json\n{}```\n{end}", printed.out);
        std::fs::write(&path, renewed).unwrap();
        return;
    }
    assert_eq!(example, printed.out);
    for key in keys(&serde_json::from_str(example).unwrap()) {
        assert!(document.contains(&format!("`{key}`")), "docs/json.md does not describe `{key}`");
    }
}

fn keys(value: &Value) -> Vec<String> {
    match value {
        Value::Object(object) => {
            object.iter().flat_map(|(k, v)| std::iter::once(k.clone()).chain(keys(v))).collect()
        }
        Value::Array(items) => items.iter().flat_map(keys).collect(),
        _ => Vec::new(),
    }
}

#[test]
fn between_groups_every_single_fault_once() {
    let answer =
        json(&["expect", "good/small.toml", "--between", "J2.1", "neutral", "--unplug", "J2", "--json"]);
    let groups = answer["groups"].as_array().unwrap();
    let shown: Vec<&str> = groups.iter().map(|g| g["reads"]["shown"].as_str().unwrap()).collect();
    // 230² / 1850 = 28.6 Ω.
    let healthy = groups[0]["reads"]["resistance_ohm"]["value"].as_f64().unwrap();
    assert!((26.0..=30.0).contains(&healthy), "{healthy}");
    assert!(shown.contains(&"OL"), "{shown:?}");
    let text = std::fs::read_to_string(support::machines().join("good/small.toml")).unwrap();
    let machine = machine::read::read(&text, None).machine.unwrap();
    let listed: usize = groups.iter().map(|g| g["hypotheses"].as_array().unwrap().len()).sum();
    assert_eq!(listed, machine.single_faults().count() + 1);
}
