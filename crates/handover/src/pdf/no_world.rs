//! Stands for `world.rs` where the program is built without the typesetter: everything but the pages themselves.

use super::PdfError;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// No fonts.
pub(super) struct Fonts;

impl Fonts {
    /// Nothing here can tell a font from another file.
    pub(super) fn with(_: &[Vec<u8>]) -> Result<Fonts, PdfError> {
        Ok(Fonts)
    }

    /// Nothing is shown, so nothing is missing.
    pub(super) fn show(&self, _: char) -> bool {
        true
    }

    pub(super) fn unshown(&self, _: &str, _: &mut BTreeSet<char>) {}
}

/// A document that is not set.
#[expect(dead_code, reason = "what a typesetter would be given")]
pub(super) struct Job<'f> {
    pub(super) template: &'static str,
    pub(super) files: BTreeMap<String, Vec<u8>>,
    pub(super) fonts: &'f Fonts,
    pub(super) date: Option<Date>,
}

/// # Errors
/// Always: it says how to get the typesetter.
pub(super) fn set(_: Job<'_>) -> Result<(Vec<u8>, usize), PdfError> {
    Err(PdfError::NoTypesetter)
}
