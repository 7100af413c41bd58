//! `prove`: what it refuses, what it prints, and a whole test driven by its JSON.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use serde_json::Value;
use support::{expected, same_as, wattmend};

const SMALL: &str = "good/small.toml";
/// The day of the test is given, so that the output does not depend on today's.
const DAY: [&str; 4] = ["--on", "2026-11-27", "--calibrated", "2026-03-01"];

fn prove(more: &[&str]) -> support::Printed {
    wattmend(&[&["prove", SMALL], &DAY[..], more].concat())
}

#[test]
fn each_refusal_has_its_code_and_says_what_to_do() {
    for (code, arguments, words) in [
        (2, &["--map", "A=visual"][..], "--readings"),
        (3, &["--readings", "not-there.txt"], "docs/prove.md"),
        (4, &["--standard", "din"], "en"),
        (4, &["--standard", "iec-60335-1"], "not for tests after a repair"),
        (4, &["--class", "IV"], "square in a square"),
        (4, &["--lead", "1.5"], "--lead"),
        (4, &["--lead", "500 m"], "0 to 100 m"),
        (4, &["--core", "thick"], "1.5, in mm²"),
        (4, &["--heating", "2.2"], "2.2 kW"),
        (4, &["--sort", "big"], "portable, stationary or heating"),
        (4, &["--fitted", "elemnt"], "did you mean element?"),
        (4, &["--reading", "earth bond = pass"], "0R09"),
        (4, &["--reading", "erth bond = 0R1"], "did you mean “earth bond”?"),
        (4, &["--reading", "step heat: 1.8 kW"], "--fitted PART"),
        (4, &["--fitted", "element", "--reading", "step heet: 1.8 kW"], "did you mean heat?"),
        (4, &["--accuracy", "visual=5%"], "earth bond"),
        (4, &["--accuracy", "earth bond"], "5% 0R02"),
        (4, &["--calibrated", "yesterday"], "2026-03-01"),
    ] {
        let calibration = if arguments[0] == "--calibrated" { &DAY[..2] } else { &DAY[..] };
        let printed = wattmend(&[&["prove", SMALL], calibration, arguments].concat());
        assert_eq!(printed.code, code, "{arguments:?}\n{}{}", printed.out, printed.err);
        assert!(printed.err.contains(words), "{arguments:?}\n{}", printed.err);
        assert!(printed.out.is_empty());
    }
}

#[test]
fn it_says_what_to_do_next_and_why_it_failed() {
    let printed = prove(&[
        "--fitted",
        "element",
        "--supply",
        "230V",
        "--tester",
        "Bench tester 7",
        "--accuracy",
        "earth bond=5% 0R02",
        "--reading",
        "visual = pass",
        "--reading",
        "earth bond = 0R09",
    ]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    same_as(&expected("prove-next.txt"), &printed.out);
    let failed = prove(&[
        "--reading",
        "visual = pass",
        "--reading",
        "earth bond = 0R42",
        "--reading",
        "insulation = >299M",
        "--standard",
        "as-nzs",
    ]);
    assert_eq!(failed.code, 0, "{}", failed.err);
    assert!(failed.out.contains("OPEN. Not yet shown fit"), "{}", failed.out);
    let failed = prove(&[
        "--reading",
        "visual = pass",
        "--reading",
        "earth bond = 0R42",
        "--reading",
        "insulation = >299M",
    ]);
    same_as(&expected("prove-failed.txt"), &failed.out);
}

/// Carried out by its JSON alone: does what it is told next until nothing is left, and ends fit to hand back.
#[test]
fn a_program_can_do_the_whole_test() {
    let good = [
        ("visual", "visual = pass"),
        ("protective-conductor", "earth bond = 0R09"),
        ("insulation", "insulation = >299M"),
        ("protective-conductor-current", "leakage = 0.4 mA"),
        ("touch-current", "touch current = 0.02 mA"),
        ("functional", "functional test = pass"),
    ];
    let mut said: Vec<String> =
        vec!["--unearthed-metal".to_owned(), "--fitted".to_owned(), "element".to_owned()];
    said.extend(["--supply".to_owned(), "230V".to_owned(), "--json".to_owned()]);
    for round in 0..10 {
        let arguments: Vec<&str> = said.iter().map(String::as_str).collect();
        let printed = prove(&arguments);
        assert_eq!(printed.code, 0, "{}", printed.err);
        let answer: Value = serde_json::from_str(&printed.out).unwrap();
        let tests = answer["tests"].as_array().unwrap();
        for test in tests {
            assert!(!test["instruction"]["caution"].as_str().unwrap().is_empty());
        }
        if answer["conclusion"] == "fit to hand back" {
            assert_eq!(round, good.len() + 1);
            assert!(tests.iter().all(|t| t["state"] == "pass"));
            return;
        }
        assert_eq!(answer["conclusion"], "not shown");
        let next = &answer["next"];
        let reading = if next["test"].is_string() {
            good.iter().find(|g| next["test"] == g.0).unwrap().1.to_owned()
        } else {
            // The machine runs for its own test only after all that could show that it hurts.
            assert_eq!(round, good.len() - 1);
            let steps = answer["retest"].as_array().unwrap();
            let step = steps.iter().find(|s| s["step"] == next["step"]).unwrap();
            format!("step {}: {} W", step["step"].as_str().unwrap(), step["expected"]["power_w"]["value"])
        };
        said.extend(["--reading".to_owned(), reading]);
    }
    panic!("no end");
}

/// After a current to earth beyond its limit nothing runs: the answer names the fault, with its caution, and no next step.
#[test]
fn nothing_is_run_once_it_leaks() {
    let readings = ["visual = pass", "earth bond = 0R09", "insulation = >299M", "leakage = 9 mA"];
    let mut said = vec!["--unearthed-metal", "--fitted", "element", "--supply", "230V"];
    said.extend(readings.iter().flat_map(|r| ["--reading", *r]));
    let printed = prove(&said);
    assert!(!printed.out.contains("\nNext\n"), "{}", printed.out);
    assert!(printed.out.contains("step heat: not yet: protective conductor current"), "{}", printed.out);
    let (means, rest) = printed.out.split_once("means: ").unwrap();
    assert!(means.contains("protective conductor current: FAIL"), "{means}");
    let caution = rest.find("! CAUTION: Unplug the machine").unwrap();
    assert!(caution < rest.find("look for: ").unwrap(), "{rest}");
    said.push("--json");
    let answer: Value = serde_json::from_str(&prove(&said).out).unwrap();
    assert_eq!((&answer["next"], &answer["conclusion"]), (&Value::Null, &Value::from("not fit")));
    assert!(answer["tests"][3]["meaning"]["caution"].is_string());
}

/// By AS/NZS no limit for insulation of class III is known here: that is said, and nothing calls the machine fit.
#[test]
fn a_limit_that_is_not_known_is_said() {
    let said = [
        "--class",
        "III",
        "--standard",
        "as-nzs",
        "--reading",
        "visual = pass",
        "--reading",
        "functional = pass",
    ];
    let printed = prove(&said);
    assert!(printed.out.contains("NOT JUDGED: insulation resistance"), "{}", printed.out);
    assert!(printed.out.contains("OPEN. "), "{}", printed.out);
    let answer: Value = serde_json::from_str(&prove(&[&said[..], &["--json"]].concat()).out).unwrap();
    assert_eq!(answer["not_judged"], serde_json::json!(["insulation"]));
}

/// The plate's rated power is not the heating: what the machine file says of its heaters is.
#[test]
fn the_heating_comes_from_the_machine_file() {
    let answer: Value = serde_json::from_str(&prove(&["--json"]).out).unwrap();
    assert_eq!(answer["subject"]["heating_w"], 1850.0);
    assert_eq!(answer["subject"]["heating_assumed"], true);
}

#[test]
fn readings_come_from_a_list_or_a_testers_file() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let states = |printed: support::Printed| -> Vec<String> {
        assert_eq!(printed.code, 0, "{}", printed.err);
        let answer: Value = serde_json::from_str(&printed.out).unwrap();
        answer["tests"].as_array().unwrap().iter().map(|t| t["state"].as_str().unwrap().to_owned()).collect()
    };
    let list = file(
        "list.txt",
        "# by the bench tester\nvisual = pass\n\nearth bond = 0R09 # null checked\ninsulation = >299M\n",
    );
    let from_list = states(prove(&["--readings", &list, "--json"]));
    assert_eq!(from_list, ["pass", "pass", "pass", "to do", "blocked"]);
    let csv = file(
        "tester.csv",
        "Asset;Test;Result;Unit\nW-7;Visual;Pass;\nW-7;RPE;0,09;Ω\nW-7;Riso;>299;MΩ\nW-8;RPE;9;Ω\n",
    );
    let map =
        ["--map", "Asset=appliance", "--map", "Test=test", "--map", "Result=value", "--map", "Unit=unit"];
    let from_csv = states(prove(&[&["--readings", &csv, "--appliance", "w-7", "--json"], &map[..]].concat()));
    assert_eq!(from_csv, from_list);
    for (name, text, arguments, words) in [
        ("bad.txt", "visual = pass\nearth bond = maybe\n", &[][..], "bad.txt: line 2: "),
        (
            "bad.csv",
            "Asset;Test;Result;Unit\nW-7;RPE;x;Ω\n",
            &map[..],
            "bad.csv: line 2: column 3 (Result): ",
        ),
        (
            "unmapped.csv",
            "Asset;Test;Result;Unit\nW-7;RPE;1;Ω\n",
            &["--appliance", "W-7", "--map", "Test=test", "--map", "Result=value"],
            "no column is mapped to the appliance",
        ),
        (
            "two.csv",
            "Asset;Test;Result;Unit\nW-7;RPE;1;Ω\nW-8;RPE;1;Ω\n",
            &map[..],
            "more than one appliance",
        ),
    ] {
        let path = file(name, text);
        let printed = prove(&[&["--readings", path.as_str()], arguments].concat());
        assert_eq!(printed.code, 3, "{}", printed.out);
        assert!(printed.err.contains(words) && printed.err.contains("to mend"), "{}", printed.err);
    }
    let huge = file("huge.csv", &"x\n".repeat(1 << 20));
    assert_eq!(prove(&["--readings", &huge]).code, 3);
}
