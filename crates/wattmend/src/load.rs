//! From a path to the text of a machine file, and on to the machine.

use crate::end::{End, Failure};
use crate::render::{Screen, diagnostics};
use machine::diagnostic::Severity;
use machine::model::Machine;
use machine::read::{LARGEST_FILE, read};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Why a file gives no text: what is wrong, and what to do.
pub(crate) struct Unreadable {
    pub(crate) message: String,
    pub(crate) remedy: String,
}

/// The text of a machine file. Reads no more than such a file may hold, so a device or a film does no harm.
pub(crate) fn text(path: &Path) -> Result<String, Unreadable> {
    let bytes = bytes(path).map_err(|error| not_opened(path, &error))?;
    if bytes.len() > LARGEST_FILE {
        return Err(Unreadable {
            message: format!("{} is larger than any machine file ({LARGEST_FILE} bytes)", path.display()),
            remedy: "name a machine file; it ends in .toml".to_owned(),
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

fn bytes(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST_FILE as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn not_opened(path: &Path, error: &std::io::Error) -> Unreadable {
    use std::io::ErrorKind;
    let shown = path.display();
    let (message, remedy) = match error.kind() {
        ErrorKind::NotFound => (
            format!("there is no file {shown}"),
            "check the name; `wattmend machine new KIND` starts a new file".to_owned(),
        ),
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
