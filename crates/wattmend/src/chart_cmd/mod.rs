//! `wattmend chart FILE`: the fault chart for a complaint, to print or to teach with.
//!
//! `text.rs` prints it, `json.rs` gives it to a program; `report::fault_chart` puts it into words and boxes.

mod json;
mod text;

use crate::end::{Answer, Done, End, Failure};
use crate::find_cmd::{frame, gather, told};
use crate::load;
use crate::render::Screen;
use crate::sheets;
use diagnosis::Find;
use diagnosis::chart::Extent;
use diagnosis::evidence::{Evidence, Listener};
use handover::{Paper, Sheet};
use quantity::{Dimension, parse};
use report::fault_chart::Charted;
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
    /// Draw it as PDF into this file, a page a sheet of A4; an earlier one is replaced
    #[arg(long, value_name = "OUT", conflicts_with_all = ["json", "svg"])]
    pdf: Option<PathBuf>,
}

/// How one starts again where the chart ends.
const AFRESH: &str = "`wattmend find`";

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
        evidence: &evidence,
        extent,
        chart,
    };
    if let Some(out) = &arguments.pdf {
        let title = format!("{}. {}", charted.name(), charted.title());
        let pages = report::flow_sheets(&charted.flow(AFRESH)).into_iter().map(|svg| Sheet {
            svg,
            svg_says: format!("{title}: numbered boxes, each with what to do and where each answer leads"),
            whole_page: true,
            ..Sheet::default()
        });
        return sheets::write(out, &title, &pages.collect::<Vec<_>>(), Paper::A4);
    }
    if let Some(out) = &arguments.svg {
        let svg = report::flow_chart(&charted.flow(AFRESH));
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
