//! `wattmend prove FILE`: electrical safety after a repair, and the machine's own re-test.
//!
//! `asked.rs` reads what is tested, the tester and the readings; `text.rs` says what came of it, `json.rs` gives it to a program.

mod asked;
mod json;
mod text;

use crate::end::{Answer, Done};
use crate::load;
use crate::render::Screen;
use machine::model::Machine;
use safety::{Report, Subject};
use std::path::PathBuf;

#[allow(clippy::struct_excessive_bools, reason = "each is a switch of the command line")]
#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Variant of the model; the file's first where left out
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Whose limits: en, iet-4, iet-5, as-nzs
    #[arg(long, value_name = "KEY", default_value = "en")]
    standard: String,
    /// Protection class: I, II or III; the plate's where left out
    #[arg(long, value_name = "CLASS")]
    class: Option<String>,
    /// Length of the mains lead with its extensions: "1.5m"
    #[arg(long, value_name = "LENGTH", default_value = "1.5 m", allow_hyphen_values = true)]
    lead: String,
    /// Section of the lead's protective core, mm²
    #[arg(long, value_name = "MM2", default_value = "1.5", allow_hyphen_values = true)]
    core: String,
    /// Rated power of all heaters together: "2.2kW"; that of the heaters in the machine file where left out
    #[arg(long, value_name = "POWER", allow_hyphen_values = true)]
    heating: Option<String>,
    /// How it is used: portable, stationary, or heating (cooks or heats as its purpose); by its kind where left out
    #[arg(long, value_name = "SORT")]
    sort: Option<String>,
    /// It has metal that can be touched and is not earthed
    #[arg(long)]
    unearthed_metal: bool,
    /// A metal-sheathed, mineral-insulated element is in the tested path
    #[arg(long)]
    sheathed_element: bool,
    /// All its switches close by hand: no relay needs power to close
    #[arg(long)]
    switches_by_hand: bool,
    /// Surge arresters or parts that do not bear 500 V are fitted
    #[arg(long)]
    surge_arresters: bool,
    /// Plug, terminals or cord were worked on
    #[arg(long)]
    rewired: bool,
    /// A part that was fitted or mended: the steps that it touches are run again; may be given several times
    #[arg(long, value_name = "PART")]
    fitted: Vec<String>,
    /// Voltage at the socket under load, for the re-test: "239V"; rated ±10 % where left out
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    /// Limits of error of the power meter at the plug: "1% 1W"
    #[arg(long, value_name = "LIMITS")]
    meter: Option<String>,
    /// "earth bond = 0R09", "insulation = >299M", "touch current = 0.12 mA", "visual = pass", "step warm: 1.79 kW"
    #[arg(long, value_name = "READING", allow_hyphen_values = true)]
    reading: Vec<String>,
    /// A list of such readings, one a line; with --map, a tester's CSV file; - reads standard input
    #[arg(long, value_name = "FILE")]
    readings: Option<PathBuf>,
    /// What a column of the tester's file holds: "Riso=insulation in MΩ", "Result=value" (docs/prove.md)
    #[arg(long, value_name = "COLUMN=WHAT", requires = "readings")]
    map: Vec<String>,
    /// Which appliance of the tester's file
    #[arg(long, value_name = "NAME", requires = "map")]
    appliance: Option<String>,
    /// The tester's name and number, for the record
    #[arg(long, value_name = "NAME")]
    tester: Option<String>,
    /// Limits of error of the tester: "earth bond=5% 0R02"; 30 % of the reading where left out
    #[arg(long, value_name = "TEST=LIMITS")]
    accuracy: Vec<String>,
    /// When the tester was last calibrated: 2026-03-01
    #[arg(long, value_name = "DATE")]
    calibrated: Option<String>,
    /// When its calibration is due again; 12 months later where left out
    #[arg(long, value_name = "DATE", requires = "calibrated")]
    calibration_due: Option<String>,
    /// Day of the test; today where left out
    #[arg(long, value_name = "DATE")]
    on: Option<String>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// The report with what it is about.
struct Proved<'m> {
    machine: &'m Machine,
    variant: Option<&'m str>,
    subject: Subject,
    /// The heating was not given: it is that of the heaters in the machine file.
    heating_assumed: bool,
    tester: String,
    on: jiff::civil::Date,
    report: Report,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    let standard = asked::standard(&arguments.standard)?;
    let subject = asked::subject(&machine, arguments)?;
    let tester = asked::tester(arguments)?;
    let on = asked::day(arguments)?;
    let touched = asked::touched(&machine, arguments)?;
    let asked::Readings { tests, steps } = asked::readings(&machine, arguments, &touched)?;
    let plan = safety::plan(&subject, standard);
    let report = safety::judge(&plan, &tests, &tester, on, &touched, &steps);
    let proved = Proved {
        machine: &machine,
        variant: arguments.variant.as_deref().or_else(|| machine.plate.variants.first().map(String::as_str)),
        subject,
        heating_assumed: arguments.heating.is_none(),
        tester: tester.name,
        on,
        report,
    };
    let text =
        if arguments.json { format!("{:#}\n", json::render(&proved)) } else { text::render(&proved, screen) };
    Ok(Done::with(text))
}
