//! A language file, and pages in its language.
//!
//! The pages are written in British English. A language file is a gettext PO file: each English phrase with the words that stand
//! in its place. Numbers and names within a phrase are slots, `{1}`, `{2}` …
//!
//! Read in this order: `file.rs` (a PO file, read strictly), `phrase.rs` (a phrase and its slots), `book.rs` (all phrases, to be
//! looked up), `page.rs` (a page as it leaves the server). Not here: which phrases there are; the templates and scripts say that.
//!
//! Always true: a book without phrases changes no byte of a page but the marks; no book changes markup, or what stands under
//! `translate="no"`; what a book does not have stays English (`tests/pages.rs`).

mod book;
mod file;
mod page;
mod phrase;

pub use book::Book;
pub use file::{LARGEST, Phrase, PhraseFile, Refused, Tag, read};
pub use page::{BEGIN, END};
pub use phrase::{folded, has_letters, slots};
