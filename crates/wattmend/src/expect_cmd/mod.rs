//! `wattmend expect FILE`.

use crate::end::{Answer, Done};
use crate::render::Screen;

#[derive(clap::Args)]
pub(crate) struct Arguments {}

/// Runs it.
pub(crate) fn run(_arguments: &Arguments, _screen: &Screen) -> Answer {
    Ok(Done::with(String::new()))
}
