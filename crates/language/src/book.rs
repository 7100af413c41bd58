//! A phrase book: what stands in the place of each English phrase.

use crate::file::{PhraseFile, Tag};
use crate::phrase::{MOST_SLOTS, Piece, folded, has_letters, pieces};
use std::borrow::Cow;
use std::collections::HashMap;

/// All phrases of a language file that count, ready to be looked up.
#[derive(Clone, Debug, Default)]
pub struct Book {
    language: Option<Tag>,
    /// By the English phrase, slots as `{1}`.
    phrases: HashMap<String, Vec<Piece>>,
    /// Phrases with slots, to be found in a finished text; those with most words first.
    patterns: Vec<Pattern>,
}

/// An English phrase with slots.
#[derive(Clone, Debug)]
struct Pattern {
    id: String,
    english: Vec<Piece>,
    letters: usize,
}

/// Fewest letters that a phrase with slots must have to be looked for in a finished text: "{1} W" would fit too much.
const FEWEST_LETTERS: usize = 4;

impl Book {
    /// The book of a file; what is empty or marked `fuzzy` is left out.
    pub fn of(file: &PhraseFile) -> Book {
        let mut book = Book { language: file.language.clone(), ..Book::default() };
        for phrase in file.phrases.iter().filter(|p| p.is_done() && has_letters(&p.id)) {
            let (english, text) = (pieces(&phrase.id), pieces(&phrase.text));
            let in_words = |p: &Piece| match p {
                Piece::Words(words) => words.chars().filter(|c| c.is_alphabetic()).count(),
                Piece::Slot(_) => 0,
            };
            let letters = english.iter().map(in_words).sum();
            if english.iter().any(|p| matches!(p, Piece::Slot(_))) && letters >= FEWEST_LETTERS {
                book.patterns.push(Pattern { id: phrase.id.clone(), english, letters });
            }
            book.phrases.insert(phrase.id.clone(), text);
        }
        book.patterns.sort_by_key(|p| std::cmp::Reverse(p.letters));
        book
    }

    /// Are there no phrases in it?
    pub fn is_empty(&self) -> bool {
        self.phrases.is_empty()
    }

    /// The language that it speaks.
    pub fn language(&self) -> Option<&Tag> {
        self.language.as_ref()
    }

    /// What stands for a phrase with these values in its slots, its words written by `write`; none where the book does not have
    /// it.
    pub(crate) fn phrase(&self, id: &str, values: &[&str], write: impl Fn(&str) -> String) -> Option<String> {
        if values.len() > MOST_SLOTS {
            return None;
        }
        let mut out = String::new();
        for piece in self.phrases.get(id)? {
            match piece {
                Piece::Words(words) => out.push_str(&write(words)),
                Piece::Slot(number) => out.push_str(values.get(number - 1)?),
            }
        }
        Some(out)
    }

    /// What stands for a phrase without values, for those who fill its slots themselves; none where the book does not have it.
    pub fn with_slots(&self, id: &str) -> Option<String> {
        let slots: Vec<String> = (1..=MOST_SLOTS).map(|n| format!("{{{n}}}")).collect();
        self.phrase(id, &slots.iter().map(String::as_str).collect::<Vec<_>>(), str::to_owned)
    }

    /// What stands for a finished text of the program: as a whole, by a phrase whose slots it fills, or sentence by sentence. None
    /// where no word of it is in the book. What fills a slot stays as it is, but for sentences of the program.
    pub fn say(&self, text: &str) -> Option<String> {
        if self.is_empty() || !text.contains(char::is_alphabetic) {
            return None;
        }
        let text = folded(text);
        if let Some(said) = self.whole(&text) {
            return Some(said);
        }
        let sentences: Vec<&str> = text.split_inclusive(". ").collect();
        if sentences.len() < 2 {
            return None;
        }
        let said: Vec<Option<String>> = sentences.iter().map(|s| self.whole(s.trim_end())).collect();
        said.iter().any(Option::is_some).then(|| {
            let each = said.into_iter().zip(&sentences);
            // A sentence that is not there stays English: a caution is never left out.
            let each = each.map(|(said, english)| said.unwrap_or_else(|| english.trim_end().to_owned()));
            each.collect::<Vec<_>>().join(" ")
        })
    }

    fn whole(&self, text: &str) -> Option<String> {
        self.as_it_stands(text).or_else(|| {
            // A name of the program at the begin of a line: “Visual inspection”.
            let first = text.chars().next().filter(|c| c.is_uppercase())?;
            let small: String = first.to_lowercase().chain(text.chars().skip(1)).collect();
            let said = self.as_it_stands(&small)?;
            let mut said = said.chars();
            Some(said.next()?.to_uppercase().chain(said).collect())
        })
    }

    fn as_it_stands(&self, text: &str) -> Option<String> {
        if let Some(said) = self.phrase(text, &[], str::to_owned) {
            return Some(said);
        }
        let found = |p: &Pattern| {
            let values = values(&p.english, text)?;
            let said: Vec<Cow<'_, str>> = values.into_iter().map(|v| self.value(v)).collect();
            self.phrase(&p.id, &said.iter().map(AsRef::as_ref).collect::<Vec<_>>(), str::to_owned)
        };
        self.patterns.iter().find_map(found)
    }

    /// What fills a slot: a sentence of the program in its place too, all else as it is.
    fn value<'v>(&self, value: &'v str) -> Cow<'v, str> {
        let sentence = value.trim_end();
        let is_sentence = sentence.ends_with('.') && sentence.contains(' ');
        match is_sentence.then(|| self.whole(sentence)).flatten() {
            Some(said) => Cow::Owned(said + &value[sentence.len()..]),
            None => Cow::Borrowed(value),
        }
    }
}

/// What stands in the slots of a phrase where a text is that phrase: each slot as short as it can be.
fn values<'t>(english: &[Piece], text: &'t str) -> Option<Vec<&'t str>> {
    let mut values: Vec<&str> = Vec::new();
    let mut rest = text;
    let mut slot: Option<usize> = None;
    for (n, piece) in english.iter().enumerate() {
        match piece {
            Piece::Slot(_) if slot.is_some() => return None,
            Piece::Slot(number) => slot = Some(*number),
            Piece::Words(words) => {
                let is_last = n + 1 == english.len();
                let at = match slot {
                    None => rest.starts_with(words.as_str()).then_some(0)?,
                    Some(_) if is_last => rest.strip_suffix(words.as_str())?.len(),
                    Some(_) => rest.find(words.as_str())?,
                };
                if let Some(number) = slot.take() {
                    put(&mut values, number, &rest[..at])?;
                }
                rest = &rest[at + words.len()..];
            }
        }
    }
    match slot {
        Some(number) => put(&mut values, number, rest)?,
        None if !rest.is_empty() => return None,
        None => {}
    }
    Some(values)
}

/// Keeps what a slot holds; none where it holds nothing, or something else than before.
fn put<'t>(values: &mut Vec<&'t str>, number: usize, value: &'t str) -> Option<()> {
    if value.is_empty() {
        return None;
    }
    if values.len() < number {
        values.resize(number, "");
    }
    let place = &mut values[number - 1];
    if !place.is_empty() && *place != value {
        return None;
    }
    *place = value;
    Some(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test")]
mod tests {
    use super::Book;
    use crate::file::read;

    fn book(phrases: &[(&str, &str)]) -> Book {
        let mut file = "msgid \"\"\nmsgstr \"Language: de\\n\"\n".to_owned();
        for (id, text) in phrases {
            file.push_str(&format!("\nmsgid \"{id}\"\nmsgstr \"{text}\"\n"));
        }
        Book::of(&read(file.as_bytes()).unwrap())
    }

    #[test]
    fn a_finished_text_is_found_by_its_phrase() {
        let book = book(&[
            ("Sure: {1}", "Sicher: {1}"),
            ("{1} of {2} are here", "von {2} sind {1} da"),
            ("Unplug it.", "Stecker ziehen."),
            ("{1} W", "{1} Watt"),
            ("not done", ""),
            ("by the end", "am Ende"),
            ("Next: {1}", "Als Nächstes: {1}"),
            ("Take off {1}.", "{1} abnehmen."),
            ("{1}Measure between {2} and {3}.", "{1}Messen zwischen {2} und {3}."),
        ]);
        let say = |text: &str| book.say(text);
        assert_eq!(say("Sure: element open").unwrap(), "Sicher: element open");
        assert_eq!(say("3 of 4 are here").unwrap(), "von 4 sind 3 da");
        assert_eq!(say("Sure: "), None);
        assert_eq!(say("Sure: ".trim()), None);
        assert_eq!(say("so Sure: x"), None);
        assert_eq!(say("3 of 4 are here now"), None);
        assert_eq!(say("not done"), None);
        assert_eq!(say("By the end").unwrap(), "Am Ende");
        // Too little to be sure of.
        assert_eq!(say("31 W"), None);
        // One sentence known, the other stays.
        assert_eq!(say("Unplug it. Hot water inside.").unwrap(), "Stecker ziehen. Hot water inside.");
        assert_eq!(say("Hot water inside. Wait."), None);
        // A sentence of the program within another.
        assert_eq!(say("Sure: Unplug it.").unwrap(), "Sicher: Stecker ziehen.");
        assert_eq!(
            say("Next: Take off a. Measure between b and c.").unwrap(),
            "Als Nächstes: a abnehmen. Messen zwischen b und c."
        );
    }

    #[test]
    fn more_words_win() {
        let book = book(&[("step {1}", "Schritt {1}"), ("step {1} runs", "Schritt {1} läuft")]);
        assert_eq!(book.say("step warm runs").unwrap(), "Schritt warm läuft");
        assert_eq!(book.say("step warm").unwrap(), "Schritt warm");
    }

    #[test]
    fn what_is_fuzzy_does_not_count() {
        let text = "msgid \"\"\nmsgstr \"Language: de\\n\"\n\n#, c-format, fuzzy\nmsgid \"Today\"\nmsgstr \"Heute\"\n";
        assert!(Book::of(&read(text.as_bytes()).unwrap()).is_empty());
    }
}
