//! `wattmend machine …`: write, check and read machine files.

mod check;

use crate::end::Answer;
use crate::render::Screen;
use clap::Subcommand;

#[derive(Subcommand)]
pub(crate) enum Command {
    /// Report every error and warning in machine files
    Check(check::Arguments),
}

/// Runs one of them.
pub(crate) fn run(command: Command, screen: &Screen) -> Answer {
    match command {
        Command::Check(arguments) => Ok(check::run(&arguments, screen)),
    }
}
