//! The machine files at hand: those that come with the program, and one's own in the folder `machines` beside the records.

use crate::problem::Problem;
use machine::diagnostic::Diagnostic;
use machine::model::Machine;
use std::collections::HashMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
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

/// Longest name of a file that is made here, characters.
const LONGEST_NAME: usize = 60;

/// The name of a machine file that may be made: small letters, digits and dashes, nothing that steers a path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct FileName(String);

impl FileName {
    /// From any words: `Tern 81 (mine)` is `tern-81-mine`. None where no letter or digit is left.
    pub(crate) fn of(words: &str) -> Option<FileName> {
        let plain = |c: char| {
            if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }
        };
        let dashed: String = words.trim().chars().take(LONGEST_NAME).map(plain).collect();
        let name = dashed.split('-').filter(|w| !w.is_empty()).collect::<Vec<_>>().join("-");
        (!name.is_empty()).then_some(FileName(name))
    }

    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
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
        for (name, path) in self.own() {
            if let Ok(text) = std::fs::read_to_string(&path) {
                own.push((name, text.into()));
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
    ///
    /// # Errors
    /// Where there is none.
    pub(crate) fn file(&self, name: &str) -> Result<MachineFile, Problem> {
        let own = self.own().into_iter().find(|(own, _)| own == name);
        let own =
            own.and_then(|(_, path)| std::fs::read_to_string(path).ok()).map(|text| (text.into(), true));
        let invented = || {
            let known = INVENTED.iter().find(|(known, _)| *known == name);
            known.map(|(_, text)| (Arc::from(*text), false))
        };
        let (text, own): (Arc<str>, bool) =
            own.or_else(invented).ok_or_else(|| Problem::not_there("such machine file"))?;
        let (machine, diagnostics) = self.read(&text, "");
        Ok(MachineFile { name: name.to_owned(), text, own, machine, diagnostics })
    }

    /// The file with this name, and its machine.
    ///
    /// # Errors
    /// Where there is none, or it has errors.
    pub(crate) fn usable(&self, name: &str) -> Result<(MachineFile, Arc<Machine>), Problem> {
        let file = self.file(name)?;
        let machine = file.machine.clone().ok_or_else(|| {
            Problem::refused(
                "this machine file has errors",
                "the page Machines shows where and how to mend them",
            )
        })?;
        Ok((file, machine))
    }

    /// Is there a file with this name?
    pub(crate) fn has(&self, name: &str) -> bool {
        INVENTED.iter().any(|(known, _)| *known == name) || self.own().iter().any(|(own, _)| own == name)
    }

    /// One's own files: name and path.
    fn own(&self) -> Vec<(String, PathBuf)> {
        let mut own = Vec::new();
        for entry in std::fs::read_dir(&self.folder).into_iter().flatten().flatten().take(MOST_OWN) {
            let path = entry.path();
            let is_file = path.extension().is_some_and(|e| e == "toml")
                && entry
                    .metadata()
                    .is_ok_and(|m| m.is_file() && m.len() <= machine::read::LARGEST_FILE as u64);
            if let Some(name) = path.file_stem().filter(|_| is_file) {
                own.push((name.to_string_lossy().into_owned(), path));
            }
        }
        own
    }

    /// Keeps a text as one's own file of this name: the file of that name in the list, or a new one. On return it is on the
    /// disk, whole; broken off, the old text stands.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub(crate) fn save(&self, name: &str, text: &str) -> std::io::Result<()> {
        let known = self.own().into_iter().find(|(own, _)| own == name);
        let path = match known {
            Some((_, path)) => path,
            // No path is made of what is not such a name.
            None => match FileName::of(name) {
                Some(made) if made.as_str() == name => self.folder.join(format!("{name}.toml")),
                _ => return Err(std::io::ErrorKind::InvalidInput.into()),
            },
        };
        replace(&path, text)
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

/// Puts a text in a file's place. On return it is on the disk, whole; broken off, the old text stands.
pub(crate) fn replace(path: &Path, text: &str) -> std::io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut beside = tempfile::NamedTempFile::new_in(folder)?;
    beside.write_all(text.as_bytes())?;
    beside.as_file().sync_all()?;
    beside.persist(path).map(drop).map_err(|e| e.error)
}

#[cfg(test)]
mod tests {
    use super::{FileName, Library};

    #[test]
    fn a_name_steers_no_path() {
        for (words, name) in
            [("Tern 81 (mine)", "tern-81-mine"), ("../../etc/passwd", "etc-passwd"), ("a.toml", "a-toml")]
        {
            assert_eq!(FileName::of(words).unwrap().as_str(), name);
        }
        assert_eq!([FileName::of("…/.."), FileName::of("")], [None, None]);
        let folder = tempfile::tempdir().unwrap();
        let library = Library::new(folder.path().join("machines"));
        std::fs::create_dir(library.folder()).unwrap();
        assert!(library.save("../out", "x").is_err());
        assert!(!folder.path().join("out.toml").exists());
    }

    #[test]
    fn what_is_saved_is_read_again_and_stands_before_what_comes_with_the_program() {
        let folder = tempfile::tempdir().unwrap();
        let library = Library::new(folder.path().to_path_buf());
        assert!(!library.file("aldermere-tern-81").unwrap().own);
        library.save("aldermere-tern-81", "broken").unwrap();
        let own = library.file("aldermere-tern-81").unwrap();
        assert!(own.own && &*own.text == "broken" && own.machine.is_none());
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
