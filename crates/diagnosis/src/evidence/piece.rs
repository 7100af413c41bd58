//! Stretches of a text that know where they stand, so that a refusal can point at the offending words.

use super::NotUnderstood;
use machine::diagnostic::nearest;
use quantity::NotationError;

/// A stretch of a text, trimmed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece<'a> {
    pub(super) text: &'a str,
    start: usize,
}

impl<'a> Piece<'a> {
    /// The whole text.
    pub(super) fn whole(text: &'a str) -> Piece<'a> {
        Piece { text, start: 0 }.trimmed()
    }

    fn trimmed(self) -> Piece<'a> {
        let tail = self.text.trim_start();
        Piece { text: tail.trim_end(), start: self.start + self.text.len() - tail.len() }
    }

    fn part(self, from: usize, to: usize) -> Piece<'a> {
        Piece { text: &self.text[from..to], start: self.start + from }.trimmed()
    }

    /// What follows `word`, if the piece begins with it as a word of its own.
    pub(super) fn after_word(self, word: &str) -> Option<Piece<'a>> {
        let rest = self.text.strip_prefix(word)?;
        rest.starts_with(char::is_whitespace).then(|| self.part(word.len(), self.text.len()))
    }

    /// Before and after the first of these marks.
    pub(super) fn split_at_first<const N: usize>(self, marks: [char; N]) -> Option<(Piece<'a>, Piece<'a>)> {
        let at = self.text.find(marks)?;
        Some((self.part(0, at), self.part(at + 1, self.text.len())))
    }

    /// Before and after the last of this mark.
    pub(super) fn split_at_last(self, mark: char) -> Option<(Piece<'a>, Piece<'a>)> {
        let at = self.text.rfind(mark)?;
        Some((self.part(0, at), self.part(at + mark.len_utf8(), self.text.len())))
    }

    /// The first word and the rest.
    pub(super) fn first_word(self) -> (Piece<'a>, Piece<'a>) {
        let at = self.text.find(char::is_whitespace).unwrap_or(self.text.len());
        (self.part(0, at), self.part(at, self.text.len()))
    }

    /// Its words.
    pub(super) fn words(self) -> Vec<Piece<'a>> {
        let mut words = Vec::new();
        let mut rest = self;
        while !rest.text.is_empty() {
            let (word, after) = rest.first_word();
            words.push(word);
            rest = after;
        }
        words
    }

    /// What stands between commas that a blank follows (`8,8 A` is one), or semicolons.
    pub(super) fn listed(self) -> Vec<Piece<'a>> {
        let mut all = Vec::new();
        let mut from = 0;
        for (at, c) in self.text.char_indices() {
            let ends = c == ';' || c == ',' && self.text[at + 1..].starts_with(char::is_whitespace);
            if ends {
                all.push(self.part(from, at));
                from = at + 1;
            }
        }
        all.push(self.part(from, self.text.len()));
        all.retain(|p| !p.text.is_empty());
        all
    }

    /// The stretch of this piece from one of its words to another.
    pub(super) fn stretch(self, first: Piece<'_>, last: Piece<'_>) -> Piece<'a> {
        self.part(first.start - self.start, last.start + last.text.len() - self.start)
    }

    /// Without a comma or semicolon at its end.
    pub(super) fn without_comma(self) -> Piece<'a> {
        Piece { text: self.text.trim_end_matches([',', ';']), ..self }
    }

    /// A refusal that points here.
    pub(super) fn refused(self, rule: &'static str, message: impl Into<String>) -> NotUnderstood {
        NotUnderstood {
            rule,
            span: Some(self.start..self.start + self.text.len()),
            message: message.into(),
            remedy: String::new(),
        }
    }

    /// Reads it with a notation; a refusal points at the place in the whole text.
    pub(super) fn notation<T>(
        self,
        parse: impl FnOnce(&'a str) -> Result<T, NotationError>,
    ) -> Result<T, NotUnderstood> {
        parse(self.text).map_err(|e| {
            let e = NotUnderstood::from(e);
            let span = e.span.map(|s| self.start + s.start..self.start + s.end);
            NotUnderstood { span, ..e }
        })
    }
}

impl NotUnderstood {
    /// With this to do about it.
    pub(super) fn mend(self, remedy: impl Into<String>) -> NotUnderstood {
        NotUnderstood { remedy: remedy.into(), ..self }
    }

    /// With another way to write it.
    pub(super) fn or(self, other: &str) -> NotUnderstood {
        NotUnderstood { remedy: format!("{}; or {other}", self.remedy), ..self }
    }

    /// Said of this stretch of a longer text.
    pub(super) fn at(self, piece: Piece<'_>) -> NotUnderstood {
        NotUnderstood { span: self.span.map(|s| piece.start + s.start..piece.start + s.end), ..self }
    }

    /// Points at no place: the text it is about is not the one that is read.
    pub(super) fn placeless(self) -> NotUnderstood {
        NotUnderstood { span: None, ..self }
    }
}

impl From<NotationError> for NotUnderstood {
    fn from(e: NotationError) -> NotUnderstood {
        NotUnderstood { rule: "notation", span: Some(e.span), message: e.message, remedy: e.remedy }
    }
}

/// Lower case, one blank between words.
pub(super) fn plain(text: &str) -> String {
    text.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The place of a name among those that there are; upper and lower case count only where they tell two apart.
pub(super) fn named<'n>(
    name: Piece<'_>,
    one: &str,
    many: &str,
    known: impl Iterator<Item = &'n str> + Clone,
) -> Result<usize, NotUnderstood> {
    if let Some(at) = known.clone().position(|k| k == name.text) {
        return Ok(at);
    }
    let wanted = plain(name.text);
    let mut alike = known.clone().enumerate().filter(|(_, k)| plain(k) == wanted);
    if let (Some((at, _)), None) = (alike.next(), alike.next()) {
        return Ok(at);
    }
    let rule = match one {
        "step" => "unknown-step",
        "code" => "unknown-code",
        "check" => "unknown-check",
        _ => "unknown-function",
    };
    let all: Vec<&str> = known.clone().collect();
    let remedy = match nearest(name.text, known) {
        Some(near) => format!("did you mean {near}?"),
        None if all.is_empty() => format!("its file has no {many}: leave this out"),
        None => format!("its {many}: {}", all.join(", ")),
    };
    Err(name.refused(rule, format!("this machine has no {one} `{}`", name.text)).mend(remedy))
}
