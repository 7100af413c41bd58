//! From a path to what a file holds: a machine, the text of an evidence file, the samples of a recording.

use crate::end::{End, Failure};
use crate::input;
use crate::render::{Screen, diagnostics};
use machine::diagnostic::Severity;
use machine::model::Machine;
use machine::read::{LARGEST_FILE, read};
use std::fs::File;
use std::io::Read as _;
use std::path::Path;
use trace::Sample;
use trace::read::{Options, ReadError, Reader, Summary};
use trace::waveform::is_waveform;

/// A kind of file, as messages speak of it.
struct Kind {
    name: &'static str,
    largest: usize,
    /// How one comes by such a file.
    begin: &'static str,
}

const MACHINE: Kind = Kind {
    name: "machine file",
    largest: LARGEST_FILE,
    begin: "`wattmend machine new KIND` starts a new file",
};

const EVIDENCE: Kind = Kind {
    name: "evidence file",
    largest: diagnosis::evidence::LARGEST_FILE,
    begin: "docs/evidence-file.md says how to write one",
};

const SOCKETS: Kind = Kind {
    name: "file of sockets",
    largest: meters::LARGEST_FILE,
    begin: "docs/meters.md says how to write one",
};

const READINGS: Kind = Kind {
    name: "file of readings",
    largest: safety::import::LARGEST_FILE,
    begin: "docs/prove.md says how to write one",
};

const VISIT: Kind =
    Kind { name: "visit file", largest: 1_000_000, begin: "docs/record.md says how to write one" };

const FONT: Kind =
    Kind { name: "font", largest: 64 << 20, begin: "name a file that ends in .ttf, .otf or .ttc" };

/// Why a file gives no text: what is wrong, and what to do.
pub(crate) struct Unreadable {
    pub(crate) message: String,
    pub(crate) remedy: String,
}

/// The text of a machine file.
pub(crate) fn text(path: &Path) -> Result<String, Unreadable> {
    text_of(path, &MACHINE)
}

/// The text of an evidence file; - reads standard input.
pub(crate) fn evidence(path: &Path) -> Result<String, Failure> {
    text_of(path, &EVIDENCE).map_err(|e| Failure::new(End::FileRefused, &e.message, &e.remedy))
}

/// The text of a file of sockets and their meters.
pub(crate) fn sockets(path: &Path) -> Result<String, Failure> {
    text_of(path, &SOCKETS).map_err(|e| Failure::new(End::FileRefused, &e.message, &e.remedy))
}

/// The text of a visit file; - reads standard input.
pub(crate) fn visit(path: &Path) -> Result<String, Failure> {
    text_of(path, &VISIT).map_err(|e| Failure::new(End::FileRefused, &e.message, &e.remedy))
}

/// The bytes of a font.
pub(crate) fn font(path: &Path) -> Result<Vec<u8>, Failure> {
    let refused = |e: Unreadable| Failure::new(End::FileRefused, &e.message, &e.remedy);
    let bytes = bytes(path, &FONT).map_err(|e| refused(not_opened(path, &e, &FONT)))?;
    if bytes.len() > FONT.largest {
        let message = format!("{} is larger than any {} ({} bytes)", path.display(), FONT.name, FONT.largest);
        return Err(Failure::new(End::FileRefused, &message, FONT.begin));
    }
    Ok(bytes)
}

/// The bytes of a tester's file or a list of readings, in whatever encoding; - reads standard input.
pub(crate) fn readings(path: &Path) -> Result<Vec<u8>, Failure> {
    let refused = |e: Unreadable| Failure::new(End::FileRefused, &e.message, &e.remedy);
    let bytes = bytes(path, &READINGS).map_err(|e| refused(not_opened(path, &e, &READINGS)))?;
    if bytes.len() > READINGS.largest {
        let message =
            format!("{} is larger than any {} ({} bytes)", path.display(), READINGS.name, READINGS.largest);
        return Err(Failure::new(End::FileRefused, &message, "cut out the rows of this appliance"));
    }
    Ok(bytes)
}

/// Reads no more than such a file may hold, so a device or a film does no harm.
fn text_of(path: &Path, kind: &Kind) -> Result<String, Unreadable> {
    let bytes = bytes(path, kind).map_err(|error| not_opened(path, &error, kind))?;
    if bytes.len() > kind.largest {
        return Err(Unreadable {
            message: format!("{} is larger than any {} ({} bytes)", path.display(), kind.name, kind.largest),
            remedy: format!("name {} {}; it ends in .toml", article(kind.name), kind.name),
        });
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let before = &error.as_bytes()[..good];
        let line = before.split(|&b| b == b'\n').count();
        let byte = before.rsplit(|&b| b == b'\n').next().map_or(1, |start| start.len() + 1);
        Unreadable {
            message: format!("{} is not UTF-8 text (line {line}, byte {byte} in it)", path.display()),
            remedy: "save it as UTF-8 in your editor".to_owned(),
        }
    })
}

fn article(name: &str) -> &'static str {
    if name.starts_with('e') { "an" } else { "a" }
}

fn bytes(path: &Path, kind: &Kind) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open(path)?.take(kind.largest as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// A file, or standard input for -.
fn open(path: &Path) -> std::io::Result<Box<dyn std::io::Read>> {
    if path.as_os_str() == "-" {
        return Ok(Box::new(std::io::stdin().lock()));
    }
    Ok(Box::new(File::open(path)?))
}

fn not_opened(path: &Path, error: &std::io::Error, kind: &Kind) -> Unreadable {
    use std::io::ErrorKind;
    let shown = path.display();
    let (message, remedy) = match error.kind() {
        ErrorKind::NotFound => {
            (format!("there is no file {shown}"), format!("check the name; {}", kind.begin))
        }
        ErrorKind::PermissionDenied => {
            (format!("{shown} may not be read by this user"), format!("chmod u+r {shown}"))
        }
        ErrorKind::IsADirectory => {
            (format!("{shown} is a folder"), "name the file in it that ends in .toml".to_owned())
        }
        _ => (format!("{shown} cannot be read: {error}"), "check the disk or the path".to_owned()),
    };
    Unreadable { message, remedy }
}

/// The machine of a file, as its first variant or the one named; a file with errors is refused with all of them.
pub(crate) fn machine(path: &Path, variant: Option<&str>, screen: &Screen) -> Result<Machine, Failure> {
    let text = text(path).map_err(|e| Failure::new(End::FileRefused, &e.message, &e.remedy))?;
    let outcome = read(&text, variant);
    let name = path.display().to_string();
    if let [only] = outcome.diagnostics.as_slice()
        && only.rule == "unknown-variant"
    {
        // The file is fine; the command line asked for what it has not.
        return Err(Failure::asked_wrongly(&only.message, &only.remedies.join("; ")));
    }
    outcome.machine.ok_or_else(|| {
        let errors: Vec<_> =
            outcome.diagnostics.into_iter().filter(|d| d.severity == Severity::Error).collect();
        Failure { text: diagnostics::render(&name, &text, &errors, screen), end: End::FileRefused }
    })
}

/// What reading a recording came to, its samples having been given on.
pub(crate) struct Recorded {
    pub(crate) summary: Summary,
    /// What stopped it from being read to its end.
    pub(crate) broken_off: Option<ReadError>,
}

/// Samples looked at to tell a waveform from a recording of powers.
pub(crate) const HEAD: usize = 64;

/// Reads a recording of any meter, packed or not (- reads standard input), and gives each sample on. A waveform of the mains
/// cycle is refused: its volts times amperes are no power.
pub(crate) fn recording(
    file: &Path,
    options: &Options,
    mut each: impl FnMut(Sample),
) -> Result<Recorded, Failure> {
    let mut reader = Reader::new(input::open(file)?.bytes, options).map_err(|e| refused(file, &e))?;
    let mut broken_off = None;
    let mut head = Vec::new();
    for sample in reader.by_ref() {
        match sample {
            Ok(sample) => {
                if head.len() < HEAD {
                    head.push(sample);
                }
                each(sample);
            }
            Err(error) => broken_off = Some(error),
        }
    }
    if is_waveform(&head) {
        return Err(Failure::new(
            End::FileRefused,
            &format!("{} is a waveform of the mains cycle, not a recording of powers", input::shown(file)),
            "name a recording with a few samples a second or fewer; `wattmend trace` reads waveforms",
        ));
    }
    match broken_off {
        Some(error) if head.is_empty() => Err(refused(file, &error)),
        broken_off => Ok(Recorded { summary: reader.into_summary(), broken_off }),
    }
}

pub(crate) fn refused(file: &Path, error: &ReadError) -> Failure {
    let line = error.line.map_or(String::new(), |l| format!(", line {l}"));
    Failure::new(End::FileRefused, &format!("{}{line}: {}", input::shown(file), error.what), &error.remedy)
}
