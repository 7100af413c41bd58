//! The language that the pages speak: the chosen language file, read once and kept; English where there is none.

use language::{Book, PhraseFile, Refused};
use records::{LanguageFile, Records};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;
use std::sync::{Arc, PoisonError, RwLock};

/// Every phrase of the program, without a translation: where a translator begins. `tests/template_file.rs` of `language` makes it
/// from templates, scripts and source, and fails where it is behind them.
pub(crate) const TEMPLATE: &str = include_str!("../../../languages/wattmend.pot");

/// A language file in use.
#[derive(Debug, Default)]
pub(crate) struct Spoken {
    pub(crate) book: Book,
    /// Its name on the device that it came from; empty: the pages are English.
    pub(crate) name: String,
    /// Phrases of the program that it has, and how many there are.
    pub(crate) has: usize,
    pub(crate) of: usize,
    /// Phrases that it has and the program does not, or no more.
    pub(crate) others: usize,
    /// What the scripts of a page say in its language, as a script of its own.
    pub(crate) script: String,
    /// Changes with the script, so that a browser never keeps an old one.
    pub(crate) version: String,
}

impl Spoken {
    fn of(name: &str, file: &PhraseFile, program: &PhraseFile) -> Spoken {
        let book = Book::of(file);
        let phrases = || program.phrases.iter().filter_map(|p| Some((p, book.with_slots(&p.id)?)));
        // Scripts also show the words of a finding, as the bench sends them.
        let in_scripts = |used: &String| used.contains("/assets/") || used.ends_with("finding/words.rs");
        let of_scripts: BTreeMap<&str, String> = phrases()
            .filter(|(p, _)| p.used_in.iter().any(in_scripts))
            .map(|(p, said)| (p.id.as_str(), said))
            .collect();
        let has = phrases().count();
        // A map of texts can always be written.
        let script = serde_json::to_string(&of_scripts).unwrap_or_else(|_| "{}".to_owned());
        let script = format!("window.wattmendPhrases = {script};\n");
        let sum = Sha256::digest(script.as_bytes());
        Spoken {
            has,
            of: program.phrases.len(),
            others: file.phrases.iter().filter(|p| p.is_done()).count().saturating_sub(has),
            name: name.to_owned(),
            version: format!("{:08x}", u32::from_be_bytes([sum[0], sum[1], sum[2], sum[3]])),
            script,
            book,
        }
    }
}

/// Why a language file cannot be used.
pub(crate) enum Unusable {
    Refused(Refused),
    /// It names no language: the template itself, or one whose header was never filled in.
    NoLanguage,
}

/// Reads a language file.
pub(crate) fn read(name: &str, bytes: &[u8]) -> Result<Spoken, Unusable> {
    let file = language::read(bytes).map_err(Unusable::Refused)?;
    if file.language.is_none() {
        return Err(Unusable::NoLanguage);
    }
    let program = language::read(TEMPLATE.as_bytes()).map_err(Unusable::Refused)?;
    Ok(Spoken::of(name, &file, &program))
}

/// The language of the pages, shared by all requests.
#[derive(Default)]
pub(crate) struct Language(RwLock<Arc<Spoken>>);

impl Language {
    /// As the records have it. A file that an older program took and this one does not understand leaves the pages English; it
    /// stays in the records until another is chosen.
    pub(crate) fn kept(records: &Records) -> Language {
        let file = records.language_file().ok().flatten();
        let spoken = file.and_then(|LanguageFile { name, text }| read(&name, text.as_bytes()).ok());
        Language(RwLock::new(Arc::new(spoken.unwrap_or_default())))
    }

    pub(crate) fn now(&self) -> Arc<Spoken> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(crate) fn speak(&self, spoken: Spoken) {
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(spoken);
    }
}
