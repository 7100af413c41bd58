//! Machines to test with.
#![allow(dead_code, unreachable_pub, reason = "each test takes from it what it needs")]

use machine::model::Machine;
use std::path::{Path, PathBuf};

pub const SMALL: &str = include_str!("small.toml");

pub fn read(text: &str) -> Machine {
    let outcome = machine::read::read(text, None);
    outcome.machine.unwrap_or_else(|| panic!("{:?}", outcome.diagnostics))
}

/// The small machine with each `.0` of the pairs replaced by its `.1`.
pub fn small(changes: &[(&str, &str)]) -> Machine {
    let text = changes.iter().fold(SMALL.to_owned(), |text, (old, new)| {
        assert!(text.contains(old), "no `{old}` in the small machine");
        text.replace(old, new)
    });
    read(&text)
}

fn machine_files() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../machines");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == "toml"));
    paths.sort();
    paths
}

/// The shipped machines: file name and text.
pub fn shipped() -> Vec<(String, String)> {
    let found: Vec<_> = machine_files()
        .iter()
        .map(|p| (p.file_name().unwrap().display().to_string(), std::fs::read_to_string(p).unwrap()))
        .collect();
    assert_eq!(found.len(), 5);
    found
}
