//! The file of the sockets and their meters: read when the bench opens, written by the page Sockets or by hand.

use crate::capture::Capture;
use crate::library::replace;
use meters::Config;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// What a new file begins with.
const EMPTY: &str = "format = 1\n";

/// The file, and what is wrong with it.
pub(crate) struct MetersFile {
    path: Mutex<PathBuf>,
    troubles: Mutex<Vec<String>>,
}

impl MetersFile {
    pub(crate) fn at(path: PathBuf) -> MetersFile {
        MetersFile { path: Mutex::new(path), troubles: Mutex::default() }
    }

    /// Takes another file.
    pub(crate) fn move_to(&self, path: PathBuf) {
        *self.path.lock().unwrap_or_else(PoisonError::into_inner) = path;
    }

    pub(crate) fn path(&self) -> PathBuf {
        self.path.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Its text; that of a new one where there is none.
    pub(crate) fn text(&self) -> std::io::Result<String> {
        match std::fs::metadata(self.path()) {
            Ok(found) if found.len() > meters::LARGEST_FILE as u64 => {
                Err(std::io::Error::other(format!("it has {} bytes", found.len())))
            }
            Ok(_) => std::fs::read_to_string(self.path()),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(EMPTY.to_owned()),
            Err(e) => Err(e),
        }
    }

    /// What is wrong with it: nothing of it is watched while something is.
    pub(crate) fn troubles(&self) -> Vec<String> {
        self.troubles.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Watches the sockets of the file as it stands; what is wrong with it stays to be shown.
    pub(crate) fn watch(&self, capture: &Arc<Capture>) {
        let troubles = match self.text() {
            Err(e) => vec![format!("{} cannot be read: {e}", self.path().display())],
            Ok(text) if says_nothing(&text) => {
                let _ = capture.watch(Vec::new());
                Vec::new()
            }
            Ok(text) => match read(&text, &self.path()) {
                Err(troubles) => troubles,
                Ok(config) => match capture.watch(config.sockets) {
                    Ok(()) => Vec::new(),
                    Err(e) => vec![e.to_string()],
                },
            },
        };
        *self.troubles.lock().unwrap_or_else(PoisonError::into_inner) = troubles;
    }

    /// Writes it anew and watches what it says. Whole or not at all: a crash leaves the one or the other.
    ///
    /// # Errors
    /// What is wrong with the text, or why it cannot be written; then all stays as it was.
    pub(crate) fn write(&self, text: &str, capture: &Arc<Capture>) -> Result<(), Vec<String>> {
        let path = self.path();
        if !says_nothing(text) {
            read(text, &path)?;
        }
        replace(&path, text).map_err(|e| vec![format!("{} cannot be written: {e}", path.display())])?;
        self.watch(capture);
        Ok(())
    }
}

/// A file as a new one is: no socket yet, and nothing that could be meant as one.
fn says_nothing(text: &str) -> bool {
    text.lines().map(str::trim).all(|l| l.is_empty() || l.starts_with('#') || l == EMPTY.trim())
}

/// Reads a text as that file would be read.
fn read(text: &str, path: &Path) -> Result<Config, Vec<String>> {
    let folder = path.parent().unwrap_or(Path::new(""));
    Config::read(text)
        .map(|config| config.in_folder(folder))
        .map_err(|found| found.iter().map(ToString::to_string).collect())
}
