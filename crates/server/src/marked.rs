//! What a template takes from elsewhere, escaped and between the marks of `language`: the page that leaves the server has none of
//! them (`guard.rs`).

use askama::filters::{Escaper, Html};
use language::{BEGIN, END};
use std::fmt;

/// Escapes and marks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Marked;

impl Escaper for Marked {
    fn write_escaped_str<W: fmt::Write>(&self, mut dest: W, string: &str) -> fmt::Result {
        dest.write_char(BEGIN)?;
        // A mark that somebody typed is no mark of ours; HTML knows no such character.
        for piece in string.split([BEGIN, END]) {
            Html.write_escaped_str(&mut dest, piece)?;
        }
        dest.write_char(END)
    }
}

#[cfg(test)]
mod tests {
    use super::Marked;
    use askama::filters::Escaper;

    #[test]
    fn a_value_stands_between_marks_and_holds_none() {
        let mut text = String::new();
        assert!(Marked.write_escaped_str(&mut text, "a<\u{2}b\u{1}\"").is_ok());
        assert_eq!(text, "\u{1}a&#60;b&#34;\u{2}");
    }
}
