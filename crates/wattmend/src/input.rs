//! From a path to the bytes of a recording.

use crate::end::{End, Failure};
use std::fs::File;
use std::io::{Cursor, Error, ErrorKind, Read};
use std::path::Path;

/// A recording opened.
pub(crate) struct Input {
    pub(crate) bytes: Box<dyn Read>,
    /// Begins as a WAV file does.
    pub(crate) is_wav: bool,
}

/// Opens a recording, or standard input for `-`.
pub(crate) fn open(path: &Path) -> Result<Input, Failure> {
    let mut bytes: Box<dyn Read> = if path.as_os_str() == "-" {
        Box::new(std::io::stdin().lock())
    } else {
        Box::new(File::open(path).map_err(|error| not_read(path, &error))?)
    };
    let mut start = Vec::new();
    bytes.by_ref().take(12).read_to_end(&mut start).map_err(|error| not_read(path, &error))?;
    let is_wav = start.starts_with(b"RIFF") && start.ends_with(b"WAVE");
    Ok(Input { bytes: Box::new(Cursor::new(start).chain(bytes)), is_wav })
}

/// The name of a recording, for messages.
pub(crate) fn shown(path: &Path) -> String {
    if path.as_os_str() == "-" { "standard input".to_owned() } else { path.display().to_string() }
}

fn not_read(path: &Path, error: &Error) -> Failure {
    let shown = shown(path);
    let (message, remedy) = match error.kind() {
        ErrorKind::NotFound => (
            format!("there is no file {shown}"),
            "check the name and the folder; a name with blanks stands in quotes".to_owned(),
        ),
        ErrorKind::PermissionDenied => {
            (format!("{shown} may not be read by this user"), format!("chmod u+r {shown}"))
        }
        ErrorKind::IsADirectory if path.as_os_str() != "-" => (
            format!("{shown} is a folder"),
            format!("name the recordings in it: {}", path.join("*.csv").display()),
        ),
        _ => (
            format!("{shown} cannot be read: {error}"),
            "copy it to this computer's own disk and try again".to_owned(),
        ),
    };
    Failure::new(End::FileRefused, &message, &remedy)
}
