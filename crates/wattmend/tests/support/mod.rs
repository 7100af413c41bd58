//! Running the program, and comparing what it prints with a stored text.
#![allow(dead_code, reason = "each test file uses some of it")]

use assert_cmd::Command;
use std::path::{Path, PathBuf};

/// What a run printed.
pub(crate) struct Printed {
    pub(crate) out: String,
    pub(crate) err: String,
    pub(crate) code: i32,
}

/// The folder of the machine files for tests.
pub(crate) fn machines() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../machine/tests")
}

/// Runs the program in the folder of the machine files for tests, 100 columns wide.
pub(crate) fn wattmend(arguments: &[&str]) -> Printed {
    wattmend_wide(arguments, 100)
}

/// Runs it with so many columns.
pub(crate) fn wattmend_wide(arguments: &[&str], columns: usize) -> Printed {
    let mut command = Command::cargo_bin("wattmend").unwrap();
    command.current_dir(machines()).env("COLUMNS", columns.to_string()).args(arguments);
    let output = command.output().unwrap();
    Printed {
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
        code: output.status.code().unwrap(),
    }
}

/// Compares with a stored text. `UPDATE_EXPECTED=1 cargo test` stores what was printed; read the difference before
/// you commit it.
pub(crate) fn same_as(path: &Path, printed: &str) {
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        std::fs::write(path, printed).unwrap();
        return;
    }
    let stored = std::fs::read_to_string(path).unwrap_or_default();
    assert!(
        stored == printed,
        "{} differs. Stored:\n{stored}\nPrinted:\n{printed}\n(UPDATE_EXPECTED=1 stores it)",
        path.display()
    );
}

/// A stored text of this crate.
pub(crate) fn expected(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/expected").join(name)
}
