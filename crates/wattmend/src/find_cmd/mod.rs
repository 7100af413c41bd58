//! `wattmend find FILE`: from whatever evidence there is to the failed part and the next check.
//!
//! `told.rs` holds the evidence on the command line, `gather.rs` puts it together with the evidence file and the recording,
//! `frame.rs` reads instruments and prices; `text.rs` (with `next.rs`) says what was found; its words and the JSON are `report`'s.

pub(crate) mod frame;
pub(crate) mod gather;
mod next;
pub(crate) mod text;
pub(crate) mod told;

use crate::end::{Answer, Done, Failure};
use crate::load;
use crate::render::Screen;
use crate::trace_cmd::asked::Written;
use diagnosis::setup::Setup;
use diagnosis::{Find, FindError};
use report::finding::json::{self, Found};
use std::path::PathBuf;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Variant of the model; the file's first where left out
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Evidence file (docs/evidence-file.md); - reads standard input. What is said by options comes after it
    #[arg(long, value_name = "FILE")]
    evidence: Option<PathBuf>,
    /// Recording of the service test by any meter; the steps are found in it
    #[arg(long, value_name = "FILE")]
    trace: Option<PathBuf>,
    #[command(flatten)]
    written: Written,
    /// Voltage at the socket under load: "239V", "239 V ±1 %"; as recorded, or rated ±10 %, where left out
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    /// Water in the machine at the start of the service test: "5l"
    #[arg(long, value_name = "LITRES")]
    water: Option<String>,
    #[command(flatten)]
    told: told::Told,
    #[command(flatten)]
    frame: frame::Frame,
    /// Print JSON (docs/find-json.md)
    #[arg(long)]
    json: bool,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    with_finding(arguments, screen, |found, _| {
        let text =
            if arguments.json { format!("{:#}\n", json::render(found)) } else { text::render(found, screen) };
        Ok(Done::with(text))
    })
}

/// Finds, and hands on what was found with the setup that it was found in.
pub(crate) fn with_finding(
    arguments: &Arguments,
    screen: &Screen,
    then: impl FnOnce(&Found<'_>, &Setup) -> Answer,
) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    let setup = arguments.frame.setup(&machine)?;
    let gather::Gathered { evidence, remarks } = gather::gather(&machine, arguments, screen)?;
    let mut find = Find::new(&machine, &evidence, &setup)?;
    let finding = find.finding(&evidence)?;
    let found = Found {
        machine: &machine,
        variant: arguments.variant.as_deref().or_else(|| machine.plate.variants.first().map(String::as_str)),
        conditions: find.conditions(),
        evidence: &evidence,
        remarks: &remarks,
        finding: &finding,
    };
    then(&found, &setup)
}

impl Arguments {
    /// JSON is asked for.
    pub(crate) fn json(&self) -> bool {
        self.json
    }

    /// Instruments and prices as they were typed.
    pub(crate) fn frame(&self) -> &frame::Frame {
        &self.frame
    }
}

impl From<FindError> for Failure {
    fn from(error: FindError) -> Failure {
        Failure::asked_wrongly(
            &format!("no suspects can be named: {error}"),
            "leave the entry out that you trust least; `wattmend machine check` looks at the machine file",
        )
    }
}
