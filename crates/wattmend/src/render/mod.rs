//! How things look on the screen.

pub(crate) mod diagnostics;
pub(crate) mod table;
pub(crate) mod wrap;

use std::io::IsTerminal;

/// Widest text that is comfortable to read, columns.
const WIDEST: usize = 100;
/// Below this nothing is made narrower any more.
const NARROWEST: usize = 60;

/// Where the text goes to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Screen {
    /// Columns to fill at most.
    pub(crate) columns: usize,
    /// Colours may be used.
    pub(crate) styled: bool,
}

impl Screen {
    /// The terminal's, or plain text 100 columns wide where the output goes to a file or a pipe. `COLUMNS` overrides
    /// the width, `NO_COLOR` (no-color.org) the colours.
    pub(crate) fn of_this_terminal() -> Screen {
        let asked = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok());
        let found = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
        let columns = asked.or_else(found).unwrap_or(WIDEST).clamp(NARROWEST, WIDEST);
        let styled =
            std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
        Screen { columns, styled }
    }
}
