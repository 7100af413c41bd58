//! What the entries of the visit are made of: a signature, a tester, what is known of the appliance that is tested, and what
//! the hand-over needs.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Longest path of a signature, characters.
const LONGEST_SIGNATURE: usize = 6_000;

/// A signature drawn with a finger, as the path of an SVG drawing 300 wide and 100 high: `M12 40L13 42`. It holds moves and
/// lines to whole places and nothing else, so that it can be drawn as it is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Signature(String);

/// A text is no path of a signature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoSignature;

impl fmt::Display for NoSignature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("this is no signature as the page draws one: clear it and sign again, or leave it out")
    }
}

impl std::error::Error for NoSignature {}

impl TryFrom<String> for Signature {
    type Error = NoSignature;

    fn try_from(path: String) -> Result<Signature, NoSignature> {
        let fits = path.len() <= LONGEST_SIGNATURE && path.starts_with('M');
        // Each `M` or `L` is followed by two whole numbers of up to four digits.
        let place = |place: &str| {
            let numbers: Vec<&str> = place.split(' ').collect();
            let whole = |n: &&str| (1..=4).contains(&n.len()) && n.bytes().all(|b| b.is_ascii_digit());
            numbers.len() == 2 && numbers.iter().all(whole)
        };
        let places = || path.split(['M', 'L']).skip(1);
        if fits && places().all(place) && places().count() > 1 {
            Ok(Signature(path))
        } else {
            Err(NoSignature)
        }
    }
}

impl From<Signature> for String {
    fn from(signature: Signature) -> String {
        signature.0
    }
}

impl Signature {
    /// The path.
    pub fn path(&self) -> &str {
        &self.0
    }
}

/// A tester for electrical safety, as its owner describes it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TesterFacts {
    /// Its name and number.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// Day of its last calibration, `2026-03-01`; empty where not known.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub calibrated: String,
    /// Day on which that is due again; empty: twelve months later.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub due: String,
    /// Limits of error by test, `earth bond=5% 0R02`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub accuracy: Vec<String>,
}

/// What is known of the appliance that is tested, where it differs from what its machine file and the settings say; as it was
/// typed. What is empty or false does not differ.
#[allow(
    clippy::struct_excessive_bools,
    reason = "facts that are independent of one another, each a question to a person"
)]
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ProvingFacts {
    /// Key of the standard whose limits are used.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub standard: String,
    /// Protection class: `I`, `II`, `III`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub class: String,
    /// Length of the lead with its extensions: `1.5 m`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub lead: String,
    /// Section of the protective core, mm².
    #[serde(skip_serializing_if = "String::is_empty")]
    pub core: String,
    /// Rated power of the heaters: `2 kW`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub heating: String,
    /// How it is used: `portable`, `stationary`, `heating`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub sort: String,
    /// There is metal that can be touched and is not earthed.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub unearthed_metal: bool,
    /// A metal-sheathed element is in the tested path.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub sheathed_element: bool,
    /// No relay needs power to close.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub switches_by_hand: bool,
    /// Surge arresters are fitted.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub surge_arresters: bool,
    /// Plug, terminals or cord were worked on.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub rewired: bool,
}

/// What only the hand-over needs, as it was typed. What is empty was not said.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct HandOverFacts {
    /// What was found, in a sentence; empty: what was worked out.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub found: String,
    /// What was done beside the parts fitted, a sentence a line.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub work: String,
    /// Minutes worked; empty: what was planned for the repair that was agreed on.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub minutes: String,
    /// Advice to the customer, a sentence a line.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub advice: String,
    /// What is warranted, and for how long.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub warranty: String,
    /// Day on which the next safety test is due, `2027-11-28`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub next_due: String,
    /// Why it is handed over without a complete safety test.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub reason: String,
    /// When to come again, `2027-01-12T09:30`, in the zone of the entry.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub follow_up: String,
    /// What for.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub follow_up_what: String,
    /// Number of the invoice.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub invoice: String,
    /// Day by which it is to be paid.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub due: String,
    /// Country of the customer, two letters; empty: that of the firm.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub country: String,
    /// What was paid already, an amount in the currency of the settings.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub paid: String,
    /// How: `card`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub paid_by: String,
}

#[cfg(test)]
mod tests {
    use super::Signature;
    use proptest::prelude::*;

    #[test]
    fn a_signature_holds_moves_and_lines_only() {
        for good in ["M1 2L3 4", "M12 40L13 42M0 0L300 100"] {
            assert_eq!(Signature::try_from(good.to_owned()).unwrap().path(), good);
        }
        let long = format!("M0 0{}", "L1 1".repeat(2_000));
        for bad in
            ["", "M1 2", "L1 2L3 4", "M1 2L3", "M1 2L-3 4", "M1 2 L3 4\"/><script>", "M1.5 2L3 4", &long]
        {
            assert!(Signature::try_from(bad.to_owned()).is_err(), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn what_is_taken_can_stand_in_an_attribute(text in "[ML0-9 \"<>&a-z.]{0,40}") {
            if let Ok(signature) = Signature::try_from(text) {
                prop_assert!(signature.path().chars().all(|c| "ML 0123456789".contains(c)));
            }
        }
    }
}
