//! XML, written element by element.

/// A document that grows.
pub(super) struct Xml {
    text: String,
    open: Vec<&'static str>,
}

impl Xml {
    /// Begins a document; `root` carries the name spaces.
    pub(super) fn new(name: &'static str, spaces: &str) -> Xml {
        let text = format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<{name}{spaces}>\n");
        Xml { text, open: vec![name] }
    }

    /// An element that holds others.
    pub(super) fn within(&mut self, name: &'static str, inner: impl FnOnce(&mut Xml)) {
        self.indent();
        self.text.push_str(&format!("<{name}>\n"));
        self.open.push(name);
        inner(self);
        self.close();
    }

    /// An element that holds text; an empty text is left out, as UBL wants no empty elements.
    pub(super) fn leaf(&mut self, name: &str, text: &str) {
        self.with(name, "", text);
    }

    /// The same with attributes, written as ` unitCode="C62"`.
    pub(super) fn with(&mut self, name: &str, attributes: &str, text: &str) {
        let text = text.trim();
        if !text.is_empty() {
            self.indent();
            self.text.push_str(&format!("<{name}{attributes}>{}</{name}>\n", escaped(text)));
        }
    }

    /// The whole document.
    pub(super) fn end(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.text
    }

    fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.indent();
            self.text.push_str(&format!("</{name}>\n"));
        }
    }

    fn indent(&mut self) {
        self.text.push_str(&"  ".repeat(self.open.len()));
    }
}

/// Text for an element or attribute. Characters that XML 1.0 cannot hold at all become U+FFFD.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(c),
            c if c < ' ' || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
        out
    })
}
