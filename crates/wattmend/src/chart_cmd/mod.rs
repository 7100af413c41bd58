//! `wattmend chart FILE`: the fault chart for a complaint, to print or to teach with.
//!
//! `text.rs` prints it, `drawing.rs` has it drawn, `json.rs` gives it to a program.

mod drawing;
mod json;
mod text;

use crate::end::{Answer, Done, End, Failure};
use crate::find_cmd::{frame, gather, told};
use crate::load;
use crate::render::Screen;
use diagnosis::Find;
use diagnosis::chart::{Chart, Extent};
use diagnosis::check::Instrument;
use diagnosis::evidence::{Evidence, Listener};
use machine::model::Machine;
use quantity::{Dimension, parse};
use std::path::PathBuf;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Variant of the model; the file's first where left out
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    #[command(flatten)]
    told: told::Told,
    /// Voltage at the socket under load: "239V"; rated ±10 % where left out
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    #[command(flatten)]
    frame: frame::Frame,
    /// Most checks and repairs one after the other
    #[arg(long, value_name = "COUNT", default_value_t = Extent::default().depth as u16, value_parser = clap::value_parser!(u16).range(1..=30))]
    depth: u16,
    /// Most numbered places in the chart
    #[arg(long, value_name = "COUNT", default_value_t = Extent::default().nodes as u16, value_parser = clap::value_parser!(u16).range(1..=400))]
    max_nodes: u16,
    /// Ways rarer than this are left out: 1% where left out
    #[arg(long, value_name = "SHARE")]
    rare: Option<String>,
    /// Draw it as SVG for A4 into this file ("-": to standard output); an earlier drawing is replaced
    #[arg(long, value_name = "OUT", conflicts_with = "json")]
    svg: Option<PathBuf>,
    /// Print JSON (docs/chart-json.md)
    #[arg(long)]
    json: bool,
}

/// A chart with what it was made from.
struct Charted<'m> {
    machine: &'m Machine,
    variant: Option<&'m str>,
    evidence: Evidence,
    extent: Extent,
    chart: Chart,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    let setup = arguments.frame.setup(&machine)?;
    let listener = Listener::new(&machine);
    let mut evidence = Evidence::default();
    if let Some(text) = &arguments.supply {
        let refused = |e: diagnosis::evidence::NotUnderstood| {
            Failure::asked_wrongly(&format!("--supply: {}", e.message), &e.remedy)
        };
        evidence.supply = Some(listener.supply(text).map_err(refused)?);
    }
    gather::take(&mut evidence, &listener, &arguments.told)?;
    if evidence.entries.is_empty() {
        let functions: Vec<&str> = machine.functions.iter().map(|f| f.name.as_str()).collect();
        return Err(Failure::asked_wrongly(
            "a chart begins with a complaint",
            &format!("give --complaint \"does not …\"; this machine {}", functions.join(", ")),
        ));
    }
    let extent = Extent {
        depth: usize::from(arguments.depth),
        nodes: usize::from(arguments.max_nodes),
        rare: match &arguments.rare {
            Some(text) => parse(text, Dimension::Ratio)
                .ok()
                .filter(|v| (0.0005..=0.5).contains(v))
                .ok_or_else(|| {
                    Failure::asked_wrongly(
                        &format!("--rare: `{text}` is no share from 0.05 % to 50 %"),
                        "write for instance --rare 1%",
                    )
                })?,
            None => Extent::default().rare,
        },
    };
    let chart = Find::new(&machine, &evidence, &setup)?.chart(&evidence, &extent)?;
    let charted = Charted {
        machine: &machine,
        variant: arguments.variant.as_deref().or_else(|| machine.plate.variants.first().map(String::as_str)),
        evidence,
        extent,
        chart,
    };
    if let Some(out) = &arguments.svg {
        let svg = drawing::draw(&charted);
        if out.as_os_str() == "-" {
            return Ok(Done::with(svg));
        }
        return match std::fs::write(out, svg) {
            Ok(()) => Ok(Done::with(format!("{} written\n", out.display()))),
            Err(e) => Err(Failure::new(
                End::NotWritten,
                &format!("{} cannot be written: {e}", out.display()),
                "name a file in a folder that is there and that you may write to",
            )),
        };
    }
    Ok(Done::with(if arguments.json { json::render(&charted) } else { text::render(&charted, screen) }))
}

/// What stands at the head of every chart: what it is about, what it takes, whom it defers to.
const DEFERS: &str = "For competent persons. Local rules and the maker's safety text come first; live work, gas, microwave \
    ovens and sealed refrigerant circuits are for licensed people. Prove the machine safe with an electrical safety test \
    before it is handed over.";

impl Charted<'_> {
    /// `does not heat`.
    fn title(&self) -> String {
        let said: Vec<&str> = self.evidence.entries.iter().map(|e| e.said.as_str()).collect();
        format!("Fault chart: {}", said.join(", "))
    }

    fn name(&self) -> String {
        let plate = &self.machine.plate;
        let variant =
            self.variant.filter(|v| *v != plate.model).map_or(String::new(), |v| format!(", variant {v}"));
        format!("{} {}, {}{variant}", plate.maker, plate.model, plate.kind)
    }

    /// Instruments, and what the whole job takes.
    fn takes(&self) -> String {
        let chart = &self.chart;
        let mut all: Vec<&str> = chart
            .instruments
            .iter()
            .filter(|i| **i != Instrument::None)
            .map(|i| report::finding::words::instrument(*i))
            .collect();
        all.sort_unstable();
        let with = if all.is_empty() { "no instrument".to_owned() } else { all.join(", ") };
        format!(
            "Needs: {with}. On average {:.0} min to find the fault, {:.0} min for the whole job, prices of parts counted \
             as minutes of work.",
            chart.minutes_to_find, chart.minutes
        )
    }

    /// How to read it.
    fn how_to_read(&self) -> Vec<String> {
        let share = report::finding::words::per_cent;
        let mut all = vec![
            "A reading between two branches: take the nearer one. Per cent say how often the way is taken from there; they \
             come from the fault rates and the wiring in the machine file."
                .to_owned(),
        ];
        if self.chart.cut > 0.0 {
            all.push(format!(
                "Ways rarer than {} are not printed ({} together): start afresh there with `wattmend find` and all \
                 readings so far.",
                share(self.extent.rare),
                share(self.chart.cut)
            ));
        }
        if self.chart.others > 5e-4 {
            all.push(format!(
                "Suspects too unlikely for the chart have {} together: where no branch fits, start afresh too.",
                share(self.chart.others)
            ));
        }
        all
    }
}
