//! A customer's words, matched to the functions of a machine.
//!
//! What the file lists counts first, then the name of a function, then the like: the same words that carry the meaning, on
//! the same side of "not". Whoever reads the answer sees how the words were taken, so a loose match can be put right.

use super::piece::plain;
use machine::diagnostic::nearest;
use machine::model::Machine;
use std::collections::BTreeSet;

/// Share of the words two sayings must have in common.
const IN_COMMON: f64 = 0.5;

/// Words that carry no meaning here.
const FILLING: [&str; 38] = [
    "a",
    "an",
    "and",
    "any",
    "anymore",
    "appliance",
    "at",
    "all",
    "be",
    "but",
    "by",
    "can",
    "customer",
    "do",
    "does",
    "ever",
    "for",
    "get",
    "gets",
    "has",
    "have",
    "in",
    "is",
    "it",
    "its",
    "longer",
    "machine",
    "more",
    "my",
    "of",
    "says",
    "so",
    "the",
    "though",
    "to",
    "up",
    "will",
    "with",
];

/// Words that say that something fails.
const FAILING: [&str; 19] = [
    "broken", "can't", "cannot", "dead", "doesn't", "doesnt", "fails", "failed", "faulty", "isn't", "never",
    "no", "not", "nothing", "refuses", "stopped", "stops", "without", "won't",
];

/// Places of the functions that the words may mean; none where they mean nothing here.
pub(super) fn functions(machine: &Machine, said: &str) -> Vec<usize> {
    let said = plain(said);
    let with = |matches: &dyn Fn(&str) -> bool| -> Vec<usize> {
        let listed = |f: &machine::model::Function| f.complaints.iter().any(|c| matches(&plain(c)));
        (0..machine.functions.len()).filter(|&at| listed(&machine.functions[at])).collect()
    };
    let exact = with(&|complaint| complaint == said);
    if !exact.is_empty() {
        return exact;
    }
    if let Some(at) = machine.functions.iter().position(|f| plain(&f.name) == said) {
        return vec![at];
    }
    let all: Vec<String> =
        machine.functions.iter().flat_map(|f| f.complaints.iter().map(|c| plain(c))).collect();
    if let Some(near) =
        nearest(&said, all.iter().map(String::as_str)).filter(|near| fails(near) == fails(&said))
    {
        return with(&|complaint| complaint == near);
    }
    alike(machine, &said)
}

/// The functions with the saying that has most in common with these words.
fn alike(machine: &Machine, said: &str) -> Vec<usize> {
    let wanted = meaning(said);
    let likeness = |f: &machine::model::Function| {
        let named = if fails(said) { share(&meaning(&f.name), &wanted) } else { 0.0 };
        let listed = f.complaints.iter().map(|c| plain(c)).filter(|c| fails(c) == fails(said));
        listed.map(|c| share(&meaning(&c), &wanted)).fold(named, f64::max)
    };
    let found: Vec<f64> = machine.functions.iter().map(likeness).collect();
    let best = found.iter().copied().fold(0.0, f64::max);
    if best < IN_COMMON {
        return Vec::new();
    }
    (0..found.len()).filter(|&at| found[at] >= best - 1e-9).collect()
}

/// Words in both, as a share of the words in either.
fn share(a: &BTreeSet<String>, b: &BTreeSet<String>) -> f64 {
    let either = a.union(b).count();
    if either == 0 { 0.0 } else { a.intersection(b).count() as f64 / either as f64 }
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !(c.is_alphanumeric() || c == '\'')).filter(|w| !w.is_empty())
}

/// Is it said of something that it does not happen?
fn fails(text: &str) -> bool {
    words(text).any(|w| FAILING.contains(&w))
}

/// The stems of the words that carry the meaning.
fn meaning(text: &str) -> BTreeSet<String> {
    words(text).filter(|w| !FILLING.contains(w) && !FAILING.contains(w)).map(stem).collect()
}

/// Near enough for the verbs of complaints: heats, heating, heated → heat.
fn stem(word: &str) -> String {
    for ending in ["ing", "ed", "es", "s"] {
        if let Some(stem) = word.strip_suffix(ending).filter(|s| s.chars().count() >= 3) {
            return undoubled(stem);
        }
    }
    word.to_owned()
}

/// `spinning` has one n more than `spin`.
fn undoubled(stem: &str) -> String {
    let mut last = stem.chars().rev();
    match (last.next(), last.next()) {
        (Some(a), Some(b)) if a == b && "nptm".contains(a) => stem[..stem.len() - a.len_utf8()].to_owned(),
        _ => stem.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::functions;
    use machine::model::Machine;

    fn washer() -> Machine {
        let text = include_str!("../../../../machines/aldermere-tern-81.toml");
        machine::read::read(text, None).machine.unwrap()
    }

    fn taken(machine: &Machine, said: &str) -> Vec<String> {
        functions(machine, said).into_iter().map(|f| machine.functions[f].name.clone()).collect()
    }

    #[test]
    fn words_of_customers_find_their_function() {
        let machine = washer();
        for (said, function) in [
            ("does not heat", "heats"),
            ("Does NOT  heat", "heats"),
            ("it doesn't heat any more", "heats"),
            ("dose not heat", "heats"),
            ("no heating", "heats"),
            ("heats", "heats"),
            ("washes cold", "heats"),
            ("the drum won't turn", "tumbles"),
            ("stopped spinning", "spins"),
            ("not draining", "empties"),
            ("the wash comes out wet", "spins"),
            ("machine won't start", "locks"),
        ] {
            assert_eq!(taken(&machine, said), [function], "{said}");
        }
    }

    #[test]
    fn the_opposite_is_not_taken_for_the_complaint() {
        let machine = washer();
        for said in ["heats too much", "drum turns all the time", "smells of fish", "", "not", "the"] {
            assert!(taken(&machine, said).is_empty(), "{said}: {:?}", taken(&machine, said));
        }
    }
}
