//! The phrases of a script: what it gives to `t`.

use super::unescaped;
use language::folded;
use std::collections::BTreeSet;

pub fn phrases(script: &str) -> BTreeSet<String> {
    let calls = script.match_indices("t(\"").filter(|(at, _)| {
        !script[..*at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '.' || c == '$')
    });
    let literal = |(at, call): (usize, &str)| {
        let rest = &script[at + call.len()..];
        let mut escaped = false;
        let end = rest.find(|c| {
            let ends = c == '"' && !escaped;
            escaped = c == '\\' && !escaped;
            ends
        });
        folded(&unescaped(&rest[..end.unwrap()]))
    };
    calls.map(literal).collect()
}
