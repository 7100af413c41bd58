//! `wattmend trace FILE…`: what a recording says, with no machine file.

pub(crate) mod asked;
mod json;
mod svg;
mod text;
mod wave;

use crate::end::{Answer, Done, End, Failure};
use crate::load;
use crate::render::Screen;
use asked::Written;
use std::path::{Path, PathBuf};
use trace::analysis::{Analyser, Analysis, Picture, Supply};
use trace::loads::Kind;
use trace::measures::Difference;
use trace::read::{Options, ReadError, Summary};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Recordings of any meter, packed or not; - reads standard input
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Voltage at the socket with the machine drawing: "238V", "238 V ±1 %"; gives ohms where no volts were logged
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    #[command(flatten)]
    written: Written,
    /// For a WAV file with volts and amperes: what full scale of each stands for, as "325V,20A"
    #[arg(long, value_name = "VOLTS,AMPERES")]
    full_scale: Option<String>,
    /// Write a plot to this file
    #[arg(long, value_name = "OUT")]
    svg: Option<PathBuf>,
    /// Print JSON (docs/trace-json.md)
    #[arg(long)]
    json: bool,
}

/// A recording, read to its end.
struct Recording {
    name: String,
    summary: Summary,
    analysis: Analysis,
    picture: Picture,
    /// What stopped it from being read to its end.
    broken_off: Option<ReadError>,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    if arguments.svg.is_some() && arguments.files.len() > 1 {
        return Err(Failure::asked_wrongly("--svg draws one recording", "name one file at a time"));
    }
    if let [wav] = arguments.files.as_slice()
        && wav.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav"))
    {
        return wave::run(wav, arguments);
    }
    let options = arguments.written.options()?;
    let supply = arguments.supply.as_deref().map(asked::supply).transpose()?;
    let mut recordings = Vec::new();
    for file in &arguments.files {
        recordings.push(recording(file, &options, supply)?);
    }
    if let (Some(out), [only]) = (&arguments.svg, recordings.as_slice()) {
        std::fs::write(out, svg::render(only)).map_err(|error| {
            let message = format!("{} cannot be written: {error}", out.display());
            Failure::new(End::NotWritten, &message, "name a file in a folder that you may write to")
        })?;
    }
    let text = if arguments.json {
        json::render(&recordings)
    } else {
        recordings.iter().map(|r| text::render(r, screen)).collect::<Vec<_>>().join("\n")
    };
    Ok(Done::with(text))
}

fn recording(file: &Path, options: &Options, supply: Option<Supply>) -> Result<Recording, Failure> {
    let mut analyser = Analyser::new(supply);
    let load::Recorded { summary, broken_off } =
        load::recording(file, options, |sample| _ = analyser.push(sample))?;
    let (analysis, picture) = analyser.finish();
    Ok(Recording { name: file.display().to_string(), summary, analysis, picture, broken_off })
}

impl Recording {
    /// What a technician should know: from the reading, then from what was read.
    fn warnings(&self) -> Vec<String> {
        let s = &self.summary;
        let counted = [
            (s.gaps.count, "stretches without samples"),
            (s.skipped.count, "lines left out"),
            (s.missing.count, "cells without a reading"),
            (s.duplicates.count, "samples that repeat a time"),
            (s.backward.count, "lines older than the one before, left out"),
            (s.clock_changes.count, "changes of the recorder's clock"),
            (s.stuck.count, "stretches with a stuck reading"),
            (s.contradictions.count, "lines whose power, voltage and current contradict each other"),
        ];
        let found = counted.iter().filter(|c| c.0 > 0).map(|(count, what)| format!("{what}: {count}"));
        let broken = self.broken_off.iter().map(|e| format!("read only in part: {e}"));
        broken
            .chain(found)
            .chain(s.notes.iter().cloned())
            .chain(s.questions.iter().cloned())
            .chain(self.analysis.source.iter().filter_map(|s| s.warning.clone()))
            .chain(self.analysis.differences.iter().map(difference))
            .collect()
    }
}

fn difference(found: &Difference) -> String {
    match found {
        Difference::HeatedLess { run, heated_s, usual_s } => {
            format!("run {}: heated for {heated_s:.0} s only, the others for {usual_s:.0} s", run + 1)
        }
        Difference::NotHeated { run } => format!("run {}: not heated, as most runs are", run + 1),
        Difference::NoSpin { run } => format!("run {}: no final spin, as most runs have", run + 1),
        Difference::HeaterPower { run, power_w, usual_w } => {
            format!("run {}: the heater drew {power_w:.0} W, in the others {usual_w:.0} W", run + 1)
        }
    }
}

/// A state in a word or two.
fn word(kind: Kind) -> &'static str {
    match kind {
        Kind::Heating => "heater",
        Kind::Spinning => "spin",
        Kind::Reversing => "reversing",
        Kind::Draining => "drain",
        Kind::Steady => "steady",
        Kind::Standby => "standby",
    }
}
