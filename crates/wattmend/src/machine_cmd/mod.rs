//! `wattmend machine …`: write, check and read machine files.

mod check;
mod kinds;
mod new;
mod schema;
mod show;

use crate::end::{Answer, Done};
use crate::render::Screen;
use clap::Subcommand;

#[derive(Subcommand)]
pub(crate) enum Command {
    /// Report every error and warning in machine files
    Check(check::Arguments),
    /// Write a commented starting file
    New(new::Arguments),
    /// Print a machine file for a person: access, parts, wiring, service test, codes
    Show(show::Arguments),
    /// List the part kinds that a machine file can use, or tell all of one
    Kinds(kinds::Arguments),
    /// Print JSON Schema of the machine file, for editors
    Schema,
}

/// Runs one of them.
pub(crate) fn run(command: Command, screen: &Screen) -> Answer {
    match command {
        Command::Check(arguments) => Ok(check::run(&arguments, screen)),
        Command::New(arguments) => new::run(&arguments),
        Command::Show(arguments) => show::run(&arguments, screen),
        Command::Kinds(arguments) => kinds::run(&arguments, screen),
        Command::Schema => Ok(Done::with(format!("{:#}\n", schema::schema()))),
    }
}
