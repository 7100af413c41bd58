//! A phrase: words, and slots for what differs from page to page.

use std::collections::BTreeSet;

/// A piece of a phrase.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Piece {
    Words(String),
    /// Number of the value that stands here, from 1.
    Slot(usize),
}

/// Most slots of a phrase: its number is one digit.
pub(crate) const MOST_SLOTS: usize = 9;

/// The pieces of `Step {1} of {2}`.
pub(crate) fn pieces(phrase: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut words = String::new();
    let mut rest = phrase;
    while let Some(c) = rest.chars().next() {
        if let Some(number) = slot_at(rest) {
            if !words.is_empty() {
                pieces.push(Piece::Words(std::mem::take(&mut words)));
            }
            pieces.push(Piece::Slot(number));
            rest = &rest[3..];
        } else {
            words.push(c);
            rest = &rest[c.len_utf8()..];
        }
    }
    if !words.is_empty() {
        pieces.push(Piece::Words(words));
    }
    pieces
}

/// The number of the slot that the text begins with.
fn slot_at(text: &str) -> Option<usize> {
    let [b'{', digit @ b'1'..=b'9', b'}', ..] = text.as_bytes() else { return None };
    Some(usize::from(digit - b'0'))
}

/// The slots of a phrase.
pub fn slots(phrase: &str) -> BTreeSet<usize> {
    let slot = |p| if let Piece::Slot(n) = p { Some(n) } else { None };
    pieces(phrase).into_iter().filter_map(slot).collect()
}

/// Are there words in the phrase, beside its slots?
pub fn has_letters(phrase: &str) -> bool {
    pieces(phrase).iter().any(|p| matches!(p, Piece::Words(words) if words.contains(char::is_alphabetic)))
}

/// White space as HTML shows it: none at the ends, one blank within.
pub fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split([' ', '\t', '\n', '\r', '\u{c}']).filter(|w| !w.is_empty()) {
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(word);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{Piece, folded, has_letters, pieces, slots};

    #[test]
    fn a_phrase_falls_into_words_and_slots() {
        let words = |w: &str| Piece::Words(w.to_owned());
        assert_eq!(
            pieces("Step {1} of {2}"),
            [words("Step "), Piece::Slot(1), words(" of "), Piece::Slot(2)]
        );
        assert_eq!(pieces("{1}{1} {0} {10} {x"), [Piece::Slot(1), Piece::Slot(1), words(" {0} {10} {x")]);
        assert_eq!(slots("{2} of {1}, {2}").into_iter().collect::<Vec<_>>(), [1, 2]);
        assert!(has_letters("{1} °C") && !has_letters("{1} · {2} – 3 %"));
    }

    #[test]
    fn white_space_folds_as_on_a_page() {
        assert_eq!(folded("\n  a\t b\r\n c  "), "a b c");
        // A blank that does not break a line is no white space of HTML.
        assert_eq!(folded(" 5\u{a0}W "), "5\u{a0}W");
    }
}
