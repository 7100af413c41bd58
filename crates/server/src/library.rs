//! The machine files at hand: those that come with the program, and one's own in the folder `machines` beside the records.

use machine::diagnostic::Diagnostic;
use machine::model::Machine;
use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

/// The invented machines, to try everything with.
const INVENTED: [(&str, &str); 5] = [
    ("aldermere-tern-81", include_str!("../../../machines/aldermere-tern-81.toml")),
    ("brinehaven-gannet-7", include_str!("../../../machines/brinehaven-gannet-7.toml")),
    ("polwarren-cockle-52", include_str!("../../../machines/polwarren-cockle-52.toml")),
    ("quaydon-ember-60", include_str!("../../../machines/quaydon-ember-60.toml")),
    ("saltreach-pilot-12", include_str!("../../../machines/saltreach-pilot-12.toml")),
];

/// Most of one's own files that are listed.
const MOST_OWN: usize = 2_000;
/// Machines that are kept read.
const KEPT: usize = 64;

/// A machine file, read.
#[derive(Clone)]
pub(crate) struct MachineFile {
    /// Its name, without `.toml`.
    pub(crate) name: String,
    /// Its text.
    pub(crate) text: Arc<str>,
    /// Is it one's own, or does it come with the program?
    pub(crate) own: bool,
    /// The machine, as its first variant; none where the file has errors.
    pub(crate) machine: Option<Arc<Machine>>,
    /// What is wrong in it.
    pub(crate) diagnostics: Arc<[Diagnostic]>,
}

/// What came of reading a text: the machine, and what is wrong.
type Read = (Option<Arc<Machine>>, Arc<[Diagnostic]>);

/// The machine files.
pub(crate) struct Library {
    folder: PathBuf,
    /// By text and variant.
    read: Mutex<HashMap<(Arc<str>, String), Read>>,
}

impl Library {
    pub(crate) fn new(folder: PathBuf) -> Library {
        Library { folder, read: Mutex::default() }
    }

    /// The folder of one's own files.
    pub(crate) fn folder(&self) -> &PathBuf {
        &self.folder
    }

    /// All files, one's own first, by name.
    pub(crate) fn files(&self) -> Vec<MachineFile> {
        let mut own: Vec<(String, Arc<str>)> = Vec::new();
        for entry in std::fs::read_dir(&self.folder).into_iter().flatten().flatten().take(MOST_OWN) {
            let path = entry.path();
            let is_file = path.extension().is_some_and(|e| e == "toml")
                && entry
                    .metadata()
                    .is_ok_and(|m| m.is_file() && m.len() <= machine::read::LARGEST_FILE as u64);
            let Some(name) = path.file_stem().filter(|_| is_file) else { continue };
            if let Ok(text) = std::fs::read_to_string(&path) {
                own.push((name.to_string_lossy().into_owned(), text.into()));
            }
        }
        own.sort();
        let invented = INVENTED.iter().map(|(name, text)| ((*name).to_owned(), Arc::from(*text), false));
        let own = own.into_iter().map(|(name, text)| (name, text, true));
        let mut all: Vec<MachineFile> = Vec::new();
        for (name, text, own) in own.chain(invented) {
            if all.iter().all(|f| f.name != name) {
                let (machine, diagnostics) = self.read(&text, "");
                all.push(MachineFile { name, text, own, machine, diagnostics });
            }
        }
        all
    }

    /// The file with this name. Names are looked up in the list; no path is made of one.
    pub(crate) fn file(&self, name: &str) -> Option<MachineFile> {
        self.files().into_iter().find(|f| f.name == name)
    }

    /// Reads a text as a variant (empty: its first); the same text is read once.
    pub(crate) fn read(&self, text: &Arc<str>, variant: &str) -> Read {
        let key = (text.clone(), variant.to_owned());
        let mut kept = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(read) = kept.get(&key) {
            return read.clone();
        }
        let outcome = machine::read::read(text, Some(variant).filter(|v| !v.is_empty()));
        let read: Read = (outcome.machine.map(Arc::new), outcome.diagnostics.into());
        if kept.len() >= KEPT {
            kept.clear();
        }
        kept.insert(key, read.clone());
        read
    }
}
