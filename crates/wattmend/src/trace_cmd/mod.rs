//! `wattmend trace FILE…`: what a recording says, with no machine file.

pub(crate) mod asked;
mod json;
mod plot;
mod svg;
mod text;
mod wave;
mod words;

use crate::end::{Answer, Done, End, Failure};
use crate::input;
use crate::load::{HEAD, refused};
use crate::render::Screen;
use asked::Written;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use trace::analysis::{Analyser, Analysis, Picture, Supply};
use trace::read::{Options, ReadError, Reader, Summary};
use trace::waveform::{Scales, is_waveform, read_samples, read_wav};

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
    /// Take the file for a waveform of the mains cycle, whatever its time step
    #[arg(long)]
    waveform: bool,
    /// What 1 (in a WAV file: full scale) of a waveform's two channels stands for, as "325V,20A"
    #[arg(long, value_name = "VOLTS,AMPERES")]
    full_scale: Option<String>,
    /// Write a plot to this file
    #[arg(long, value_name = "OUT")]
    svg: Option<PathBuf>,
    /// Print JSON (docs/trace-json.md)
    #[arg(long)]
    json: bool,
}

/// A file, read to its end.
enum Found {
    Recording(Box<Recording>),
    Wave(Box<wave::Wave>),
}

/// A recording of powers.
struct Recording {
    name: String,
    summary: Summary,
    analysis: Analysis,
    picture: Picture,
    /// What stopped it from being read to its end.
    broken_off: Option<ReadError>,
}

/// How files are to be read.
struct Asked {
    options: Options,
    supply: Option<Supply>,
    scales: Option<Scales>,
    waveform: bool,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    if arguments.svg.is_some() && arguments.files.len() > 1 {
        return Err(Failure::asked_wrongly("--svg draws one recording", "name one file at a time"));
    }
    if arguments.files.iter().filter(|file| file.as_os_str() == "-").count() > 1 {
        return Err(Failure::asked_wrongly(
            "- stands there twice",
            "standard input can be read once: name it once",
        ));
    }
    let asked = Asked {
        options: arguments.written.options()?,
        supply: arguments.supply.as_deref().map(asked::supply).transpose()?,
        scales: arguments.full_scale.as_deref().map(asked::full_scale).transpose()?,
        waveform: arguments.waveform,
    };
    let found: Vec<Found> =
        arguments.files.iter().map(|file| read(file, &asked)).collect::<Result<_, Failure>>()?;
    if let (Some(out), [only]) = (&arguments.svg, found.as_slice()) {
        let drawing = match only {
            Found::Recording(recording) => svg::render(recording),
            Found::Wave(wave) => wave::svg(wave),
        };
        std::fs::write(out, drawing).map_err(|error| {
            let why = match error.kind() {
                ErrorKind::NotFound => "there is no such folder".to_owned(),
                ErrorKind::PermissionDenied => "this user may not write there".to_owned(),
                ErrorKind::IsADirectory => "it is a folder".to_owned(),
                _ => error.to_string(),
            };
            let message = format!("{} cannot be written: {why}", out.display());
            Failure::new(End::NotWritten, &message, "name a file in a folder that you may write to")
        })?;
    }
    let text = if arguments.json {
        json::render(&found)
    } else {
        let texts = found.iter().map(|f| match f {
            Found::Recording(recording) => text::render(recording, screen),
            Found::Wave(wave) => wave::text(wave),
        });
        texts.collect::<Vec<_>>().join("\n")
    };
    Ok(Done::with(text))
}

fn read(file: &Path, asked: &Asked) -> Result<Found, Failure> {
    let input = input::open(file)?;
    let refused = |error: &ReadError| refused(file, error);
    if input.is_wav {
        let scales = asked.scales.ok_or_else(asked::no_scale)?;
        let wave = read_wav(input.bytes, scales).map_err(|e| refused(&e))?;
        return wave::read(file, wave).map_err(|e| refused(&e));
    }
    let mut reader = Reader::new(input.bytes, &asked.options).map_err(|e| refused(&e))?;
    let mut head = Vec::new();
    let mut broken_off = None;
    for sample in reader.by_ref().take(HEAD) {
        match sample {
            Ok(sample) => head.push(sample),
            Err(error) => broken_off = Some(error),
        }
    }
    if broken_off.is_none() && (asked.waveform || is_waveform(&head)) {
        let scales = asked.scales.unwrap_or_default();
        let wave = read_samples(&head, &mut reader, scales).map_err(|e| refused(&e))?;
        return wave::read(file, wave).map_err(|e| refused(&e));
    }
    let mut analyser = Analyser::new(asked.supply);
    for sample in head {
        analyser.push(sample);
    }
    for sample in reader.by_ref() {
        match sample {
            Ok(sample) => _ = analyser.push(sample),
            Err(error) => broken_off = Some(error),
        }
    }
    let summary = reader.into_summary();
    let (analysis, picture) = analyser.finish();
    match broken_off {
        Some(error) if analysis.samples == 0 => Err(refused(&error)),
        broken_off => {
            let name = input::shown(file);
            Ok(Found::Recording(Box::new(Recording { name, summary, analysis, picture, broken_off })))
        }
    }
}
