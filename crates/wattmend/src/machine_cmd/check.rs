//! `wattmend machine check FILE…`: every error and warning, each with its place and remedy.

use crate::end::{Done, End};
use crate::load::{self, Unreadable};
use crate::render::{Screen, diagnostics};
use machine::diagnostic::Diagnostic;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// What was found in one file.
enum Checked {
    Unreadable(Unreadable),
    Read { text: String, found: Vec<Diagnostic> },
}

/// Checks all the files; one bad file does not keep the others from being checked.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Done {
    let checked: Vec<(&Path, Checked)> = arguments.files.iter().map(|f| (f.as_path(), check(f))).collect();
    let refused = checked.iter().any(|(_, c)| is_refused(c));
    let text = if arguments.json {
        let files: Vec<Value> = checked.iter().map(|(path, c)| as_json(path, c)).collect();
        format!("{:#}\n", json!({ "files": files }))
    } else {
        checked.iter().map(|(path, c)| for_a_person(path, c, screen)).collect::<Vec<_>>().join("\n")
    };
    Done { text, end: if refused { End::FileRefused } else { End::Done } }
}

fn check(path: &Path) -> Checked {
    match load::text(path) {
        Err(unreadable) => Checked::Unreadable(unreadable),
        Ok(text) => {
            let (_, found) = bench::check(&text);
            Checked::Read { text, found }
        }
    }
}

fn is_refused(checked: &Checked) -> bool {
    match checked {
        Checked::Unreadable(_) => true,
        Checked::Read { found, .. } => diagnostics::count(found).0 > 0,
    }
}

fn for_a_person(path: &Path, checked: &Checked, screen: &Screen) -> String {
    match checked {
        Checked::Unreadable(why) => format!("error: {}\n  = to mend: {}\n", why.message, why.remedy),
        Checked::Read { text, found } => {
            diagnostics::render(&path.display().to_string(), text, found, screen)
        }
    }
}

fn as_json(path: &Path, checked: &Checked) -> Value {
    let file = path.display().to_string();
    match checked {
        Checked::Unreadable(why) => {
            let finding = json!({ "severity": "error", "rule": "unreadable", "message": why.message, "to_mend": [why.remedy] });
            json!({ "file": file, "errors": 1, "warnings": 0, "found": [finding] })
        }
        Checked::Read { text, found } => {
            let (errors, warnings) = diagnostics::count(found);
            let found: Vec<Value> = found.iter().map(|d| report::diagnostic::json(text, d)).collect();
            json!({ "file": file, "errors": errors, "warnings": warnings, "found": found })
        }
    }
}
