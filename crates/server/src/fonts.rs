//! Fonts of the user, for scripts that the shipped ones lack: files in a folder beside the records.

use handover::JobRecord;
use std::path::{Path, PathBuf};

/// Most files that are taken, and the largest one, bytes: a font of all Chinese characters has some 20 MB.
const MOST: usize = 16;
const LARGEST: u64 = 64 << 20;

/// The folder with the fonts. What is laid into it counts from the next page on.
pub(crate) struct Fonts {
    folder: PathBuf,
}

/// What the folder holds.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// Their names, and the files.
    pub(crate) files: Vec<(String, Vec<u8>)>,
    /// Names of files that are no font, or too large, or too many.
    pub(crate) not_taken: Vec<String>,
}

impl Found {
    /// The files alone.
    pub(crate) fn into_files(self) -> Vec<Vec<u8>> {
        self.files.into_iter().map(|f| f.1).collect()
    }
}

impl Fonts {
    pub(crate) fn in_folder(folder: PathBuf) -> Fonts {
        Fonts { folder }
    }

    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Those that a record needs: none where the shipped ones show all of it.
    pub(crate) fn for_record(&self, record: &JobRecord) -> Found {
        match handover::unshown(record, &[]) {
            Ok(None) => Found::default(),
            _ => self.read(),
        }
    }

    /// Reads them, in order of their names; nothing where there is no folder.
    pub(crate) fn read(&self) -> Found {
        let mut found = Found::default();
        let Ok(entries) = std::fs::read_dir(&self.folder) else { return found };
        let mut names: Vec<PathBuf> = entries.flatten().map(|e| e.path()).filter(|p| p.is_file()).collect();
        names.sort();
        for path in names {
            let name = path.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned());
            let small = std::fs::metadata(&path).is_ok_and(|m| m.len() <= LARGEST);
            let bytes = if small && found.files.len() < MOST { std::fs::read(&path).ok() } else { None };
            match bytes.filter(|bytes| handover::is_font(bytes)) {
                Some(bytes) => found.files.push((name, bytes)),
                None => found.not_taken.push(name),
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::Fonts;

    #[test]
    fn what_is_no_font_is_named_and_not_taken() {
        let folder = tempfile::tempdir().unwrap();
        let fonts = Fonts::in_folder(folder.path().join("fonts"));
        assert!(fonts.read().files.is_empty());
        std::fs::create_dir(fonts.folder()).unwrap();
        std::fs::write(fonts.folder().join("letter.ttf"), b"no font").unwrap();
        std::fs::create_dir(fonts.folder().join("more.ttf")).unwrap();
        let found = fonts.read();
        assert!(found.files.is_empty());
        assert_eq!(found.not_taken, ["letter.ttf"]);
    }
}
