//! Exit codes, and the commands that are not `check` or `expect`.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use std::process::{Command, Stdio};
use support::{expected, same_as, wattmend};

const SMALL: &str = "good/small.toml";

#[test]
fn each_end_has_its_code() {
    for (code, arguments) in [
        (0, &["--help"][..]),
        (0, &["--version"]),
        (0, &["expect", SMALL]),
        (2, &[]),
        (2, &["frobnicate"]),
        (2, &["machine", "new", "toaster"]),
        (2, &["expect", SMALL, "--between", "J2.1"]),
        (3, &["expect", "bad/short.toml.not-there"]),
        (3, &["expect", "bad/unknown-key.toml"]),
        (3, &["machine", "show", "bad/unknown-key.toml"]),
        (4, &["expect", SMALL, "--fault", "elment=open"]),
        (4, &["expect", SMALL, "--fault", "element=melted"]),
        (4, &["expect", SMALL, "--fault", "element"]),
        (4, &["expect", SMALL, "--step", "het"]),
        (4, &["expect", SMALL, "--supply", "239 W"]),
        (4, &["expect", SMALL, "--supply", "99999 V"]),
        (4, &["expect", SMALL, "--supply", "-230V"]),
        (4, &["expect", SMALL, "--water", "-5l"]),
        (4, &["expect", SMALL, "--water", "5"]),
        (4, &["expect", SMALL, "--meter", "good"]),
        (4, &["expect", SMALL, "--variant", "none such"]),
        (4, &["expect", SMALL, "--between", "J9.1", "neutral"]),
        (4, &["expect", SMALL, "--between", "J2.1", "neutral", "--unplug", "J9"]),
        (4, &["machine", "kinds", "toaster"]),
    ] {
        let printed = wattmend(arguments);
        assert_eq!(printed.code, code, "{arguments:?}\n{}{}", printed.out, printed.err);
        // `check` alone tells of refusals on standard output: they are its result.
        assert_eq!(printed.out.is_empty(), code != 0, "{arguments:?}");
    }
}

/// Whatever a person may hand over by mistake: each command that reads a machine file says in one line what it is.
#[test]
fn files_that_are_no_machine_files_are_told_as_what_they_are() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let latin = b"format = 1\n# caf\xe9\n";
    let refused = [
        (file("empty.toml", b""), "the file is empty"),
        (file("mark.toml", "\u{feff}\n".as_bytes()), "the file is empty"),
        (
            file("picture.toml", &[0x89, b'P', b'N', b'G', 0, 0xff]),
            "is not UTF-8 text (line 1, byte 1 in it)",
        ),
        (file("latin.toml", latin), "is not UTF-8 text (line 2, byte 6 in it)"),
        (file("huge.toml", &b"# much\n".repeat(200_000)), "is larger than any machine file"),
        (folder.path().to_str().unwrap().to_owned(), "is a folder"),
        (folder.path().join("none.toml").to_str().unwrap().to_owned(), "there is no file"),
    ];
    for (path, says) in &refused {
        for command in [&["machine", "check"][..], &["machine", "show"], &["expect"]] {
            let printed = wattmend(&[command, &[path.as_str()]].concat());
            assert_eq!(printed.code, 3, "{command:?} {path}\n{}{}", printed.out, printed.err);
            let said = format!("{}{}", printed.out, printed.err);
            assert!(said.contains(says) && said.contains("to mend: "), "{command:?} {path}:\n{said}");
            assert_eq!(said.matches("error").count(), 1 + said.matches("1 error ").count(), "{said}");
        }
    }
    let text = std::fs::read_to_string(support::machines().join(SMALL)).unwrap();
    for (name, same) in [
        ("windows.toml", text.replace('\n', "\r\n")),
        ("tabs.toml", text.replace(" = ", "\t=\t")),
        ("marked.toml", format!("\u{feff}{text}")),
    ] {
        let path = file(name, same.as_bytes());
        assert_eq!(wattmend(&["machine", "check", &path]).code, 0, "{name}");
        assert_eq!(wattmend(&["expect", &path]).out, wattmend(&["expect", SMALL]).out, "{name}");
    }
    let printed = wattmend(&["machine", "show", SMALL, "--svg", folder.path().to_str().unwrap()]);
    assert!(printed.code == 5 && printed.err.contains("is a folder"), "{}", printed.err);
}

#[test]
fn the_help_and_the_document_list_the_same_codes() {
    let help = wattmend(&["--help"]).out;
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/exit-codes.md");
    let document = std::fs::read_to_string(path).unwrap();
    for code in 0..=5 {
        assert!(help.contains(&format!("\n  {code}  ")), "{help}");
        assert!(document.contains(&format!("| {code} |")), "docs/exit-codes.md lacks {code}");
    }
}

#[test]
fn a_near_name_is_offered() {
    let printed = wattmend(&["expect", SMALL, "--fault", "elment=open"]);
    assert_eq!(printed.err, "error: this machine has no part `elment`\n  = to mend: did you mean element?\n");
}

#[test]
fn show_reads_as_stored() {
    let printed = wattmend(&["machine", "show", SMALL]);
    assert_eq!(printed.code, 0);
    same_as(&expected("show.txt"), &printed.out);
}

#[test]
fn show_draws_the_wiring() {
    let drawing = wattmend(&["machine", "show", SMALL, "--svg", "-"]).out;
    assert!(drawing.contains("<svg") && drawing.contains("element"), "{drawing}");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("small.svg");
    let path = path.to_str().unwrap();
    assert_eq!(wattmend(&["machine", "show", SMALL, "--svg", path]).code, 0);
    assert_eq!(std::fs::read_to_string(path).unwrap(), drawing);
    assert_eq!(wattmend(&["machine", "show", SMALL, "--svg", "no/such/folder/small.svg"]).code, 5);
}

#[test]
fn new_writes_a_file_that_passes_and_never_overwrites() {
    let folder = tempfile::tempdir().unwrap();
    for template in &machine::templates::ALL {
        let path = folder.path().join(format!("{}.toml", template.name));
        let path = path.to_str().unwrap();
        assert_eq!(wattmend(&["machine", "new", template.name, "--output", path]).code, 0);
        let checked = wattmend(&["machine", "check", path]);
        assert_eq!((checked.code, checked.out), (0, format!("{path}: nothing to mend.\n")));
        std::fs::write(path, "mine").unwrap();
        assert_eq!(wattmend(&["machine", "new", template.name, "--output", path]).code, 5);
        assert_eq!(std::fs::read_to_string(path).unwrap(), "mine");
        assert_eq!(wattmend(&["machine", "new", template.name]).out, template.text);
    }
}

#[test]
fn a_reader_that_leaves_early_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_wattmend"))
        .args(["machine", "schema"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn the_schema_knows_every_kind_and_key() {
    let schema: serde_json::Value = serde_json::from_str(&wattmend(&["machine", "schema"]).out).unwrap();
    for key in machine::schema::FILE.keys {
        assert!(schema["properties"][key.name].is_object(), "{}", key.name);
    }
    let branches = schema["$defs"]["part"]["allOf"].as_array().unwrap();
    for kind in machine::kind::all() {
        let branch = branches.iter().find(|b| b["if"]["properties"]["kind"]["const"] == kind.name).unwrap();
        for param in kind.params {
            assert!(branch["then"]["properties"][param.name].is_object(), "{} {}", kind.name, param.name);
        }
    }
}
