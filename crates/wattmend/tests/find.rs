//! `find`: what it refuses, what it prints, and a whole diagnosis driven by its JSON.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use serde_json::Value;
use std::path::Path;
use support::{expected, same_as, wattmend, wattmend_wide};

const SMALL: &str = "good/small.toml";

fn evidence(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/evidence").join(name).to_str().unwrap().to_owned()
}

fn find(more: &[&str]) -> Value {
    let printed = wattmend(&[&["find", SMALL, "--supply", "230V", "--json"], more].concat());
    assert_eq!(printed.code, 0, "{}", printed.err);
    serde_json::from_str(&printed.out).unwrap()
}

#[test]
fn each_refusal_has_its_code_and_says_what_to_do() {
    for (code, arguments, words) in [
        (2, &["--complaint"][..], "value is required"),
        (2, &["--price", "element=38"], "--rate"),
        (3, &["--evidence", "not-there.toml"], "docs/evidence-file.md"),
        (3, &["--trace", "not-there.csv"], "there is no file not-there.csv"),
        (4, &[], "there is no evidence yet"),
        (4, &["--complaint", "smells of fish"], "say one of: does not heat"),
        (4, &["--code", "F3"], "did you mean F1?"),
        (4, &["--lamps", "3rd lamp"], "did you mean"),
        (4, &["--reading", "elemnt.1 element.2 = OL"], "did you mean element.1?"),
        (4, &["--reading", "step heet: 31 W"], "did you mean heat?"),
        (4, &["--saw", "heat: clicky"], "did you mean clicks?"),
        (4, &["--answer", "hand element fly=yes"], "has no check `fly`"),
        (4, &["--mended", "elemnt"], "did you mean element?"),
        (4, &["--complaint", "does not heat", "--instruments", "multimetre"], "did you mean multimeter?"),
        (4, &["--complaint", "does not heat", "--sure", "97 W"], "--sure \"97%\""),
        (
            4,
            &["--complaint", "does not heat", "--rate", "60/h", "--price", "elment=38"],
            "did you mean element?",
        ),
        (4, &["--complaint", "does not heat", "--supply", "230 W"], "a voltage is wanted"),
    ] {
        let printed = wattmend(&[&["find", SMALL], arguments].concat());
        assert_eq!(printed.code, code, "{arguments:?}\n{}{}", printed.out, printed.err);
        assert!(printed.err.contains(words), "{arguments:?}\n{}", printed.err);
        assert!(printed.out.is_empty());
    }
}

#[test]
fn a_bad_evidence_file_is_refused_with_all_its_errors() {
    for name in ["bad", "mark"] {
        let path = evidence(&format!("{name}.toml"));
        let printed = wattmend(&["find", SMALL, "--evidence", &path]);
        assert_eq!(printed.code, 3, "{}", printed.out);
        same_as(
            &expected(&format!("evidence-{name}.txt")),
            &printed.err.replace(&path, &format!("{name}.toml")),
        );
    }
}

/// The heater step draws nothing, the ohms of the element are over range: nothing else explains both.
#[test]
fn an_open_element_is_named() {
    let found = find(&[
        "--complaint",
        "it doesn't heat",
        "--reading",
        "step heat: 6 W",
        "--reading",
        "element.1 element.2 off element.1 = OL",
    ]);
    assert_eq!(found["suspects"][0]["faults"]["element"], "open", "{found:#}");
    assert_eq!(found["evidence"][0]["taken"], "fails: heats");
    assert_eq!(found["steps"][0]["id"], "heat");
    assert_eq!(found["steps"][0]["verdict"], "nothing");
    assert_eq!(found["steps"][0]["measured"]["power_w"]["value"], 6.0);
}

/// Every key of the answer is described in docs/find-json.md, and those that other programs build on are there.
#[test]
fn the_keys_are_those_described() {
    let found = find(&["--complaint", "does not heat", "--reading", "step heat: 6 W"]);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/find-json.md");
    let document = std::fs::read_to_string(path).unwrap() + "`value``u``low``high``format`";
    let has = |value: &Value, keys: &[&str]| {
        for key in keys {
            assert!(value.get(key).is_some(), "{key} is missing in {value:#}");
        }
    };
    has(&found, &["suspects", "left_out", "healthy", "steps", "conflicts", "next"]);
    has(&found["suspects"][0], &["faults", "probability", "reason"]);
    has(&found["steps"][0], &["id", "start_s", "end_s", "expected", "measured", "verdict", "why"]);
    let next = found["next"].as_array().unwrap();
    let check = next.iter().find(|n| n["kind"] != "mend" && n["kind"] != "hand back").unwrap();
    has(
        check,
        &[
            "id",
            "kind",
            "between",
            "unplugged",
            "step",
            "instrument",
            "minutes",
            "access",
            "caution",
            "reads",
        ],
    );
    for key in keys(&found) {
        let described = ["", "[]"].iter().any(|end| document.contains(&format!("`{key}{end}`")));
        assert!(described, "docs/find-json.md does not describe `{key}`");
    }
}

/// Keys but those that are names of the machine's own.
fn keys(value: &Value) -> Vec<String> {
    match value {
        Value::Object(object) => object
            .iter()
            .flat_map(|(key, value)| {
                let own_names = matches!(key.as_str(), "faults" | "reads");
                std::iter::once(key.clone()).chain(if own_names { Vec::new() } else { keys(value) })
            })
            .collect(),
        Value::Array(items) => items.iter().flat_map(keys).collect(),
        _ => Vec::new(),
    }
}

/// What is asked for can be answered or passed over by its id, and is then not asked again.
#[test]
fn every_check_can_be_passed_over_by_its_id() {
    let told = ["--complaint", "does not heat", "--reading", "step heat: 6 W"];
    let ids = |found: &Value| -> Vec<String> {
        let next = found["next"].as_array().unwrap();
        next.iter().map(|n| n["id"].as_str().unwrap().to_owned()).filter(|id| id != "hand back").collect()
    };
    let first = find(&told);
    let declined: Vec<String> = ids(&first).iter().map(|id| format!("{id}=could not")).collect();
    let mut arguments: Vec<&str> = told.to_vec();
    for answer in &declined {
        arguments.extend(["--answer", answer]);
    }
    let then = find(&arguments);
    assert_eq!(then["declined"].as_array().unwrap().len(), declined.len());
    for id in ids(&then).iter().filter(|id| !id.starts_with("mend ")) {
        assert!(!declined.contains(&format!("{id}=could not")), "{id} is asked again");
    }
}

/// A script: it does what `next` says, reads what the bench says of the broken machine, and answers by id.
#[test]
fn a_whole_diagnosis_can_be_driven_by_a_script() {
    let mut told: Vec<String> =
        ["--complaint", "does not heat", "--reading", "step heat: 6 W"].map(str::to_owned).to_vec();
    for _ in 0..10 {
        let found = find(&told.iter().map(String::as_str).collect::<Vec<_>>());
        if found["sure"].is_object() {
            assert_eq!(found["sure"]["faults"]["element"], "open", "{found:#}");
            return;
        }
        let next = &found["next"][0];
        let answer = if let Some(points) = next["between"].as_array() {
            let mut arguments = vec!["expect", SMALL, "--json", "--fault", "element=open", "--between"];
            arguments.extend(points.iter().map(|p| p.as_str().unwrap()));
            for name in next["unplugged"].as_array().unwrap() {
                arguments.extend(["--unplug", name.as_str().unwrap()]);
            }
            let printed = wattmend(&arguments);
            let reads: Value = serde_json::from_str(&printed.out).unwrap();
            reads["with_faults"]["reads"]["shown"].as_str().unwrap().to_owned()
        } else if let Some(step) = next["step"].as_str() {
            let printed = wattmend(&[
                "expect",
                SMALL,
                "--json",
                "--supply",
                "230V",
                "--fault",
                "element=open",
                "--step",
                step,
            ]);
            let reads: Value = serde_json::from_str(&printed.out).unwrap();
            let step = &reads["steps"][0]["with_faults"];
            let code = match (step["code_shown"].as_bool().unwrap(), step["code"].as_str()) {
                (true, Some(code)) => format!(", code {code}"),
                _ => String::new(),
            };
            format!("{:.0} W{code}", step["power_w"]["value"].as_f64().unwrap())
        } else {
            "not sure".to_owned()
        };
        told.extend(["--answer".to_owned(), format!("{}={answer}", next["id"].as_str().unwrap())]);
    }
    panic!("not sure after ten checks: {told:?}");
}

#[test]
fn a_person_reads_the_caution_before_the_instruction() {
    for columns in [60, 80, 100] {
        let printed = wattmend_wide(
            &[
                "find",
                SMALL,
                "--supply",
                "230V",
                "--complaint",
                "does not heat",
                "--reading",
                "step heat: 6 W",
            ],
            columns,
        );
        assert_eq!(printed.code, 0, "{}", printed.err);
        let next = printed.out.split_once("\nNext\n").or(printed.out.split_once("\nDo this\n")).unwrap().1;
        assert!(next.starts_with("! CAUTION: "), "{next}");
        for line in printed.out.lines() {
            assert!(line.chars().count() <= columns, "{columns}: {line}");
        }
    }
}

#[test]
fn the_answer_reads_as_stored() {
    for (name, arguments) in [
        (
            "find-typed.txt",
            &["--complaint", "won't heat", "--reading", "step heat: 6 W", "--code", "none"][..],
        ),
        (
            "find-sure.txt",
            &["--reading", "step heat: 6 W", "--reading", "element.1 element.2 off element.1 = OL"],
        ),
    ] {
        let printed = wattmend_wide(&[&["find", SMALL, "--supply", "230V"], arguments].concat(), 80);
        assert_eq!(printed.code, 0, "{name}: {}", printed.err);
        same_as(&expected(name), &printed.out);
    }
}

#[test]
fn a_recording_is_read_and_shown() {
    let path = evidence("short.csv");
    let found = find(&["--complaint", "does not heat", "--trace", &path]);
    assert_eq!(found["recording"]["samples"], 100);
    assert_eq!(found["recording"]["file"].as_str(), Some(path.as_str()));
}

/// 30 W for half a minute, then nothing: volts and amps are multiplied where no watts were logged, and that is said.
#[test]
fn a_recording_of_volts_and_amps_is_read_as_well() {
    let folder = tempfile::tempdir().unwrap();
    let (powers, wave) = (folder.path().join("amps.csv"), folder.path().join("scope.csv"));
    let lines = (0..60).map(|s| format!("{s};230.0;{}\n", if s < 30 { "0.130" } else { "0.009" }));
    std::fs::write(&powers, format!("time;voltage (V);current (A)\n{}", lines.collect::<String>())).unwrap();
    let found = find(&["--complaint", "does not heat", "--trace", powers.to_str().unwrap()]);
    assert_eq!(found["recording"]["samples"], 60);
    let remarks = found["recording"]["remarks"].as_array().unwrap();
    assert!(remarks.iter().any(|r| r.as_str().unwrap().contains("taken for watts")), "{remarks:?}");
    let lines = (0..200).map(|k| format!("{:.4};{};{}\n", f64::from(k) * 1e-3, k % 7, k % 5));
    std::fs::write(&wave, format!("time (s);voltage (V);current (A)\n{}", lines.collect::<String>()))
        .unwrap();
    let refused =
        wattmend(&["find", SMALL, "--complaint", "does not heat", "--trace", wave.to_str().unwrap()]);
    assert!(refused.code == 3 && refused.err.contains("waveform of the mains cycle"), "{}", refused.err);
}

/// README shows what its first command prints.
#[test]
fn readme_shows_what_its_first_command_prints() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let command = ["find", "machines/aldermere-tern-81.toml", "--evidence", "demo/washes-cold.toml"];
    let readme = std::fs::read_to_string(top.join("README.md")).unwrap();
    assert!(readme.contains(&format!("\ncargo run --release -- {}\n", command.join(" "))));
    let output = assert_cmd::Command::cargo_bin("wattmend")
        .unwrap()
        .current_dir(&top)
        .env_remove("COLUMNS")
        .args(command)
        .output()
        .unwrap();
    let printed = String::from_utf8(output.stdout).unwrap();
    let (before, rest) = readme.split_once("<!-- find:begin -->\n```text\n").unwrap();
    let (_, after) = rest.split_once("```\n<!-- find:end -->").unwrap();
    same_as(
        &top.join("README.md"),
        &format!("{before}<!-- find:begin -->\n```text\n{printed}```\n<!-- find:end -->{after}"),
    );
}
