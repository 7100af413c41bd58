//! Running text in columns.

/// Wraps `text` at words to `columns`, the first line after `first`, the others after `rest`. A word longer than the
/// line stands on a line of its own, uncut, so that it can be copied.
pub(crate) fn wrap(first: &str, rest: &str, text: &str, columns: usize) -> String {
    let mut out = String::from(first);
    let mut used = width(first);
    let mut fresh = true;
    for word in text.split_whitespace() {
        let needed = width(word) + usize::from(!fresh);
        if !fresh && used + needed > columns {
            out.push('\n');
            out.push_str(rest);
            used = width(rest);
            fresh = true;
        }
        if !fresh {
            out.push(' ');
            used += 1;
        }
        out.extend(word.chars().map(printable));
        used += width(word);
        fresh = false;
    }
    out.push('\n');
    out
}

/// A machine file may hold any character; those that steer a terminal are shown as unknown instead.
pub(crate) fn printable(c: char) -> char {
    if c.is_control() { char::REPLACEMENT_CHARACTER } else { c }
}

/// Columns that a text takes, near enough for the letters of machine files.
pub(crate) fn width(text: &str) -> usize {
    text.chars().count()
}

#[cfg(test)]
mod tests {
    use super::wrap;

    #[test]
    fn breaks_at_words_and_indents() {
        assert_eq!(wrap("* ", "  ", "one two three", 9), "* one two\n  three\n");
    }

    #[test]
    fn text_of_a_file_does_not_steer_the_terminal() {
        assert_eq!(wrap("", "", "a \u{1b}[31mb", 20), "a \u{fffd}[31mb\n");
    }

    #[test]
    fn leaves_a_long_word_whole() {
        assert_eq!(wrap("", "", "a sesquipedalian b", 5), "a\nsesquipedalian\nb\n");
    }
}
