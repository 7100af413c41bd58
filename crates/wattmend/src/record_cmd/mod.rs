//! `wattmend record FILE`: what is handed over at the end of a job, from the evidence and a visit file.
//!
//! `handover::visit_file` reads the visit file, `found.rs` adds what the evidence says, `papers.rs` makes the files; this module
//! writes them.

mod found;
mod papers;

use crate::end::{Answer, Done, End, Failure};
use crate::find_cmd;
use crate::load;
use crate::render::wrap::wrap;
use crate::render::{Screen, diagnostics};
use crate::sheets;
use diagnosis::setup::Setup;
use handover::{Claim, JobRecord, visit_file};
use papers::Papers;
use report::finding::json::Found;
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
#[group(id = "record")]
#[command(mut_arg("json", |json| json.help("Print the record as JSON (docs/record.md) and write no file")))]
pub(crate) struct Arguments {
    #[command(flatten)]
    find: find_cmd::Arguments,
    /// Visit file (docs/record.md): firm, customer, parts, price, safety test; - reads standard input
    #[arg(long, value_name = "FILE")]
    visit: Option<PathBuf>,
    /// Folder for the files; made where it is not there
    #[arg(long, value_name = "FOLDER", required_unless_present = "json")]
    out: Option<PathBuf>,
    /// Paper of the PDFs: a4 or letter
    #[arg(long, value_name = "NAME", default_value = "a4")]
    paper: String,
    /// Font for scripts that the fonts within lack (Chinese, Arabic); may be given several times
    #[arg(long, value_name = "FILE")]
    font: Vec<PathBuf>,
    /// Replace files that are there already
    #[arg(long)]
    replace: bool,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let paper = sheets::paper(&arguments.paper)?;
    let fonts: Vec<Vec<u8>> = arguments.font.iter().map(|path| load::font(path)).collect::<Result<_, _>>()?;
    find_cmd::with_finding(&arguments.find, screen, |found, setup| {
        let record = record(arguments, found, setup, screen)?;
        if arguments.find.json() {
            let json = serde_json::to_string_pretty(&record).map_err(|e| {
                Failure::new(End::Bug, &format!("the record is no JSON: {e}"), "please report this")
            })?;
            return Ok(Done::with(format!("{json}\n")));
        }
        let made = papers::make(&record, paper, &fonts)?;
        let out = arguments.out.as_deref().unwrap_or(Path::new("."));
        write(out, &made, arguments.replace)?;
        Ok(Done::with(said(out, &record, &made, screen)))
    })
}

/// The visit file, with what was found.
fn record(
    arguments: &Arguments,
    found: &Found<'_>,
    setup: &Setup,
    screen: &Screen,
) -> Result<JobRecord, Failure> {
    let text = arguments.visit.as_deref().map_or(Ok("format = 1\n".to_owned()), load::visit)?;
    let today = jiff::ZonedDateTime::now().date();
    let mut record =
        visit_file::read(found.machine, found.variant, found.conditions, &text, today).map_err(|e| {
            let name = arguments.visit.as_deref().map_or(String::new(), |p| p.display().to_string());
            Failure { text: diagnostics::render_visit(&name, &text, &e, screen), end: End::FileRefused }
        })?;
    found::add(&mut record, found, setup);
    Ok(record)
}

/// Writes all files, or none where one is there already.
fn write(out: &Path, made: &Papers, replace: bool) -> Result<(), Failure> {
    let refused = |path: &Path, error: &std::io::Error| {
        Failure::new(
            End::NotWritten,
            &format!("{} cannot be written: {error}", path.display()),
            "check the folder's permissions and the space on the disk",
        )
    };
    if let Some((name, _)) = made.files.iter().find(|f| !replace && out.join(f.0).exists()) {
        return Err(Failure::new(
            End::NotWritten,
            &format!("{} is there already, and nothing was written", out.join(name).display()),
            "name another folder with --out, or give --replace",
        ));
    }
    std::fs::create_dir_all(out).map_err(|e| refused(out, &e))?;
    for (name, bytes) in &made.files {
        let path = out.join(name);
        std::fs::write(&path, bytes).map_err(|e| refused(&path, &e))?;
    }
    Ok(())
}

/// What was written, what was left out and why, and what may be said of the machine's safety.
fn said(out: &Path, record: &JobRecord, made: &Papers, screen: &Screen) -> String {
    let mut text = String::new();
    for (name, bytes) in &made.files {
        let size = bytes.len().div_ceil(1000);
        text.push_str(&wrap("", "  ", &format!("{} ({size} kB)", out.join(name).display()), screen.columns));
    }
    for left_out in &made.left_out {
        text.push_str(&wrap("left out: ", "  ", left_out, screen.columns));
    }
    for remark in &made.remarks {
        text.push_str(&wrap("note: ", "  ", remark, screen.columns));
    }
    let claim = Claim::of(record.proof.as_ref()).says();
    text.push_str(&wrap("Electrical safety: ", "  ", &claim, screen.columns));
    text
}
