//! The texts of Rust source that are sentences or names for people: string literals outside tests. What stands for a value in
//! `format!` is a slot.

use super::unescaped;
use language::{folded, has_letters};
use std::collections::BTreeSet;

pub fn phrases(source: &str) -> BTreeSet<String> {
    let source = source.split("#[cfg(test)]").next().unwrap();
    literals(source).iter().map(|l| folded(&as_phrase(&unescaped(l)))).filter(|p| is_for_people(p)).collect()
}

/// The same with single words, where these are for people too.
pub fn words(source: &str) -> BTreeSet<String> {
    let source = source.split("#[cfg(test)]").next().unwrap();
    let all = literals(source).into_iter().map(|l| folded(&as_phrase(&unescaped(&l))));
    all.filter(|p| p.chars().all(char::is_alphabetic) && p.len() > 2).collect()
}

/// String literals as they are written.
fn literals(source: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut rest = source;
    while let Some(c) = rest.chars().next() {
        if rest.starts_with("//") || rest.starts_with("#[") || rest.starts_with("#![") {
            rest = &rest[rest.find('\n').unwrap_or(rest.len())..];
        } else if rest.starts_with("'\"'") || rest.starts_with("'\\\"'") {
            rest = &rest[rest[1..].find('\'').unwrap() + 2..];
        } else if rest.starts_with("r#\"") {
            rest = &rest[rest.find("\"#").unwrap() + 2..];
        } else if c == '"' {
            let mut escaped = false;
            let end = rest[1..].find(|c| {
                let ends = c == '"' && !escaped;
                escaped = c == '\\' && !escaped;
                ends
            });
            let end = end.unwrap() + 1;
            out.push(rest[1..end].to_owned());
            rest = &rest[end + 1..];
        } else {
            rest = &rest[c.len_utf8()..];
        }
    }
    out
}

/// `{}`, `{name}`, `{0:.2}` become slots in their order.
fn as_phrase(literal: &str) -> String {
    let mut out = String::new();
    let (mut rest, mut slots) = (literal, 0);
    let mut after_slot = false;
    while let Some(c) = rest.chars().next() {
        let doubled = rest.starts_with("{{") || rest.starts_with("}}");
        let end = rest.find('}').filter(|_| c == '{' && !doubled);
        if let Some(end) = end {
            // Two values side by side are one slot.
            if !after_slot {
                slots += 1;
                out.push_str(&format!("{{{slots}}}"));
            }
            after_slot = true;
            rest = &rest[end + 1..];
        } else {
            out.push(c);
            after_slot = false;
            rest = &rest[c.len_utf8() * if doubled { 2 } else { 1 }..];
        }
    }
    out
}

/// More than a word, and none of the languages of machines.
fn is_for_people(phrase: &str) -> bool {
    let words = phrase.split(' ').filter(|w| w.chars().filter(|c| c.is_lowercase()).count() > 1);
    let of_machines = [
        "SELECT ",
        "INSERT ",
        "UPDATE ",
        "DELETE ",
        "PRAGMA ",
        "<",
        "://",
        "max-age",
        "default-src",
        "text/",
        "; filename",
        "={",
    ];
    has_letters(phrase)
        && words.count() > 1
        && !of_machines.iter().any(|m| phrase.contains(m))
        && !phrase.contains("{10}")
}
