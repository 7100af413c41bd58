//! `practise`: a game played by a script of answers.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use assert_cmd::Command;
use support::{expected, machines, same_as};

fn play(arguments: &[&str], answers: &[u8]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("wattmend").unwrap();
    command
        .current_dir(machines())
        .env("COLUMNS", "80")
        .args(["practise", "good/small.toml"])
        .args(arguments);
    let output = command.write_stdin(answers).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_game_is_played_by_a_script() {
    let answers = "menu\nmenu element\nrun heat\nmeasure element\nohms element.1 element.2 off element.1\nsing a song\n\
        fit elemnt\nhint\nbill\nfit element\nquit\n";
    let (code, out, err) = play(&["--seed", "5"], answers.as_bytes());
    assert_eq!(code, 0, "{err}");
    same_as(&expected("practise.txt"), &out);
}

#[test]
fn the_same_seed_hides_the_same_fault_and_quitting_shows_it() {
    let ends = |seed: &str| {
        let (code, out, _) = play(&["--seed", seed], b"quit\n");
        assert_eq!(code, 0);
        out.lines().find(|l| l.starts_with("It was: ")).unwrap().to_owned()
    };
    assert_eq!(ends("7"), ends("7"));
    let all: Vec<String> = (1..9).map(|seed| ends(&seed.to_string())).collect();
    assert!(all.iter().any(|e| *e != all[0]), "{all:?}");
    // The end of the input is as good as quitting; without a seed the one drawn is told.
    let (code, out, _) = play(&[], b"");
    assert_eq!(code, 0);
    assert!(out.contains("Seed ") && out.contains("It was: "), "{out}");
}

#[test]
fn hard_faults_are_drawn_too() {
    let of = |seed: u32| play(&["--hard", "--seed", &seed.to_string()], b"quit\n").1;
    let all: Vec<String> = (1..12).map(of).collect();
    assert!(all.iter().any(|o| o.contains("now and then")), "{all:?}");
    let was = |o: &String| o.lines().find(|l| l.starts_with("It was: ")).unwrap().to_owned();
    assert!(all.iter().map(was).any(|w| w.contains(", ") && !w.contains("now and then")), "{all:?}");
}

/// No check is done without its caution, and the caution stands above it.
#[test]
fn cautions_come_first() {
    let (_, out, _) = play(&["--seed", "5"], b"run heat\nohms element.1 element.2\nfit element\nquit\n");
    for doing in ["Run step heat", "Measure ohms between element.1", "Fit a new element"] {
        let at = out.find(doing).unwrap();
        assert!(out[..at].rfind("! CAUTION: ").is_some_and(|c| !out[c..at].contains("> ")), "{doing}\n{out}");
    }
}

#[test]
fn nothing_typed_breaks_it() {
    let long = "x".repeat(100_000);
    let answers = format!(
        "\n\n0\n99999999999999999999\n-1\nohms\nohms a\nohms a b c d\nfit\nname\nrun\nhand\nown x\n{long}\nmenu {long}\n\u{1b}[31m\n"
    );
    let mut bytes = answers.into_bytes();
    bytes.extend([0xff, 0xfe, b'\n']);
    let (code, out, err) = play(&["--seed", "5"], &bytes);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("It was: ") && !out.contains('\u{1b}'), "{out}");
}
