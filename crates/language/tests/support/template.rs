//! The phrases of a template: every text between two tags, and every attribute that is shown, in all forms that its conditions give
//! it. A value is a slot; a loop without tags in it is one too.

use language::{folded, has_letters};
use std::collections::BTreeSet;

#[derive(Debug)]
enum Node {
    Html(String),
    Value,
    /// Branches, and whether one of them is always taken.
    If(Vec<Vec<Node>>, bool),
    For(Vec<Node>),
}

/// Where one stands in the HTML, and the text so far.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Place {
    spot: Spot,
    text: String,
    values: usize,
    /// The text ends in a value: another beside it is the same slot.
    after_value: bool,
    /// Elements that are open.
    open: Vec<String>,
    /// Elements that were open where `translate="no"` came.
    silent: Option<usize>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
enum Spot {
    #[default]
    Text,
    /// In a tag, with what was written of it since the last blank.
    Tag {
        name: String,
        word: String,
    },
    /// In the value of this attribute.
    Attribute {
        name: String,
        attribute: String,
    },
    /// In an element whose text is left alone.
    Alone(String),
    Comment,
}

const SHOWN: [&str; 4] = ["title", "aria-label", "placeholder", "alt"];
const VOID: [&str; 7] = ["br", "hr", "img", "input", "link", "meta", "wbr"];
const LEFT_ALONE: [&str; 7] = ["code", "kbd", "pre", "svg", "script", "style", "textarea"];

pub fn phrases(template: &str) -> BTreeSet<String> {
    let mut tokens = tokens(template).into_iter().peekable();
    let (nodes, _) = nodes(&mut tokens);
    let mut found = BTreeSet::new();
    let places = walk(&nodes, BTreeSet::from([Place::default()]), &mut found);
    for place in places {
        place.flush(&mut found);
    }
    found
}

#[derive(Debug)]
enum Token {
    Html(String),
    Value,
    Tag(String),
}

fn tokens(template: &str) -> Vec<Token> {
    let mut out = Vec::new();
    let mut rest = template;
    while !rest.is_empty() {
        let at = ["{{", "{%", "{#"].iter().filter_map(|m| rest.find(m)).min().unwrap_or(rest.len());
        if at > 0 {
            out.push(Token::Html(rest[..at].to_owned()));
            rest = &rest[at..];
            continue;
        }
        let (kind, end) = match &rest[..2] {
            "{{" => ("{{", "}}"),
            "{%" => ("{%", "%}"),
            _ => ("{#", "#}"),
        };
        let length = rest.find(end).unwrap();
        let inside = rest[2..length].trim();
        match kind {
            "{{" => out.push(Token::Value),
            "{%" => out.push(Token::Tag(inside.to_owned())),
            _ => {}
        }
        rest = &rest[length + 2..];
    }
    out
}

/// Nodes up to the tag that ends them, and that tag.
fn nodes(tokens: &mut std::iter::Peekable<std::vec::IntoIter<Token>>) -> (Vec<Node>, String) {
    let mut out = Vec::new();
    while let Some(token) = tokens.next() {
        match token {
            Token::Html(html) => out.push(Node::Html(html)),
            Token::Value => out.push(Node::Value),
            Token::Tag(tag) => match tag.split_whitespace().next().unwrap() {
                "if" => {
                    let mut branches = Vec::new();
                    let mut always = false;
                    loop {
                        let (branch, ended_by) = nodes(tokens);
                        branches.push(branch);
                        if ended_by == "endif" {
                            break;
                        }
                        always |= ended_by == "else";
                    }
                    out.push(Node::If(branches, always));
                }
                "for" => {
                    let (body, ended_by) = nodes(tokens);
                    assert_eq!(ended_by, "endfor");
                    out.push(Node::For(body));
                }
                "else" | "endif" | "endfor" => return (out, tag),
                "extends" | "include" | "let" | "block" | "endblock" => {}
                other => panic!("`{other}` in a template is not known here"),
            },
        }
    }
    (out, String::new())
}

fn has_tags(nodes: &[Node]) -> bool {
    nodes.iter().any(|n| match n {
        Node::Html(html) => html.contains(['<', '>']),
        Node::Value => false,
        Node::If(branches, _) => branches.iter().any(|b| has_tags(b)),
        Node::For(body) => has_tags(body),
    })
}

fn walk(nodes: &[Node], mut places: BTreeSet<Place>, found: &mut BTreeSet<String>) -> BTreeSet<Place> {
    for node in nodes {
        places = match node {
            Node::Html(html) => places.into_iter().map(|p| p.html(html, found)).collect(),
            Node::Value => places.into_iter().map(Place::value).collect(),
            Node::If(branches, always) => {
                let mut out = if *always { BTreeSet::new() } else { places.clone() };
                for branch in branches {
                    out.extend(walk(branch, places.clone(), found));
                }
                out
            }
            Node::For(_) if !has_tags(std::slice::from_ref(node)) => {
                places.into_iter().map(Place::value).collect()
            }
            Node::For(body) => {
                let mut out = places;
                // Once and twice: what stands at the end of a round may meet the begin of the next.
                for _ in 0..2 {
                    out.extend(walk(body, out.clone(), found));
                }
                out
            }
        };
        assert!(places.len() < 2000, "too many forms of one text");
    }
    places
}

impl Place {
    fn value(mut self) -> Place {
        if !self.after_value {
            self.values += 1;
            self.text.push_str(&format!("{{{}}}", self.values));
            self.after_value = true;
        }
        self
    }

    fn flush(&self, found: &mut BTreeSet<String>) {
        let entities = [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&nbsp;", "\u{a0}"), ("&amp;", "&")];
        let text = entities.iter().fold(self.text.clone(), |t, (from, to)| t.replace(from, to));
        let phrase = folded(&text);
        if has_letters(&phrase) && self.silent.is_none() {
            found.insert(phrase);
        }
    }

    fn begin(&mut self, spot: Spot) {
        let Place { open, silent, .. } = std::mem::take(self);
        *self = Place { spot, open, silent, ..Place::default() };
    }

    /// A tag has ended.
    fn tag(&mut self, name: &str, closed: bool) {
        match name.strip_prefix('/') {
            Some(name) => {
                let at = self.open.iter().rposition(|n| n == name).unwrap();
                self.open.truncate(at);
                self.silent = self.silent.filter(|s| *s < at);
            }
            None if VOID.contains(&name) || closed => {
                self.silent = self.silent.filter(|s| *s < self.open.len())
            }
            None => self.open.push(name.to_owned()),
        }
    }

    fn html(mut self, html: &str, found: &mut BTreeSet<String>) -> Place {
        let mut chars = html.char_indices();
        while let Some((at, c)) = chars.next() {
            let rest = &html[at..];
            match self.spot.clone() {
                Spot::Text => {
                    let begins = rest[c.len_utf8()..]
                        .starts_with(|c: char| c.is_ascii_alphabetic() || "/!".contains(c));
                    if c == '<' && (begins || rest.len() == 1) {
                        self.flush(found);
                        let comment = rest.starts_with("<!");
                        self.begin(if comment {
                            Spot::Comment
                        } else {
                            Spot::Tag { name: String::new(), word: String::new() }
                        });
                    } else {
                        self.text.push(c);
                        self.after_value = false;
                    }
                }
                Spot::Comment => {
                    if c == '>' {
                        self.begin(Spot::Text);
                    }
                }
                Spot::Tag { mut name, mut word } => match c {
                    '>' => {
                        let name = if name.is_empty() { word.trim_end_matches('/').to_owned() } else { name };
                        self.tag(&name, html[..at].ends_with('/'));
                        let alone = LEFT_ALONE.contains(&name.as_str()) && !html[..at].ends_with('/');
                        self.begin(if alone { Spot::Alone(name) } else { Spot::Text });
                    }
                    '"' => {
                        let attribute = word.trim_end_matches('=').to_owned();
                        self.begin(Spot::Attribute { name, attribute });
                    }
                    c if c.is_whitespace() => {
                        if name.is_empty() {
                            name = std::mem::take(&mut word);
                        }
                        self.spot = Spot::Tag { name, word: String::new() };
                    }
                    c => {
                        word.push(c);
                        self.spot = Spot::Tag { name, word };
                    }
                },
                Spot::Attribute { name, attribute } => {
                    if c == '"' {
                        if SHOWN.contains(&attribute.as_str()) {
                            self.flush(found);
                        }
                        if attribute == "translate" && self.text == "no" && self.silent.is_none() {
                            self.silent = Some(self.open.len());
                        }
                        self.begin(Spot::Tag { name, word: String::new() });
                    } else {
                        self.text.push(c);
                        self.after_value = false;
                    }
                }
                Spot::Alone(name) => {
                    if rest.starts_with(&format!("</{name}>")) {
                        self.begin(Spot::Tag { name: format!("/{name}"), word: String::new() });
                    }
                }
            }
        }
        self
    }
}
