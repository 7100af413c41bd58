//! `wattmend machine new KIND`: a commented starting file.

use crate::end::{Answer, Done, End, Failure};
use clap::builder::PossibleValue;
use machine::templates;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// What to describe
    #[arg(value_parser = kinds())]
    kind: String,
    /// File to write; standard output where left out. A file that is there already is left alone
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
}

fn kinds() -> clap::builder::PossibleValuesParser {
    templates::ALL.iter().map(|t| PossibleValue::new(t.name).help(t.about)).collect::<Vec<_>>().into()
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments) -> Answer {
    let Some(template) = templates::by_name(&arguments.kind) else {
        return Err(Failure::new(End::WrongUse, "no such kind", "`wattmend machine new --help` lists them"));
    };
    let Some(path) = &arguments.output else {
        return Ok(Done::with(template.text.to_owned()));
    };
    write(path, template.text).map_err(|error| not_written(path, &error))?;
    let shown = path.display();
    Ok(Done::with(format!(
        "{shown} written. Go through it from top to bottom with the workshop sheet, then run\n  wattmend machine check {shown}\n"
    )))
}

/// Writes a file that must not be there yet.
fn write(path: &Path, text: &str) -> std::io::Result<()> {
    OpenOptions::new().write(true).create_new(true).open(path)?.write_all(text.as_bytes())
}

/// Why a file was not written, and what to do.
pub(super) fn not_written(path: &Path, error: &std::io::Error) -> Failure {
    let shown = path.display();
    match error.kind() {
        ErrorKind::AlreadyExists => Failure::new(
            End::NotWritten,
            &format!("{shown} is there already and was left as it is"),
            "give another name, or move it away first",
        ),
        ErrorKind::NotFound => Failure::new(
            End::NotWritten,
            &format!("there is no folder for {shown}"),
            "make the folder first, or give another name",
        ),
        ErrorKind::IsADirectory => {
            Failure::new(End::NotWritten, &format!("{shown} is a folder"), "name a file in it")
        }
        _ => Failure::new(
            End::NotWritten,
            &format!("{shown} cannot be written: {error}"),
            "check the folder's permissions and the space on the disk",
        ),
    }
}
