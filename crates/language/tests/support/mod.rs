//! From templates, scripts and source to the phrases in them.
#![allow(unreachable_pub, clippy::unwrap_used, reason = "a test")]

pub mod script;
pub mod source;
pub mod template;

/// Escapes of a string in a program's text: what it says.
pub fn unescaped(literal: &str) -> String {
    let mut out = String::new();
    let mut chars = literal.chars().peekable();
    while let Some(c) = chars.next() {
        if c != '\\' {
            out.push(c);
            continue;
        }
        match chars.next() {
            Some('n') => out.push('\n'),
            Some('t') => out.push('\t'),
            Some('u') => {
                let code: String =
                    chars.by_ref().skip_while(|c| *c == '{').take_while(|c| *c != '}').collect();
                out.extend(u32::from_str_radix(&code, 16).ok().and_then(char::from_u32));
            }
            // A line that goes on below.
            Some('\n') => while chars.next_if(|c| c.is_whitespace()).is_some() {},
            Some(c) => out.push(c),
            None => {}
        }
    }
    out
}
