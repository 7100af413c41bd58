//! What must not be shown.

use std::fmt;

/// A password. Shown nowhere: its `Debug` is blank.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    pub(super) fn new(text: String) -> Secret {
        Secret(text)
    }

    /// The text, to be given to the peer it is for.
    pub(crate) fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(…)")
    }
}
