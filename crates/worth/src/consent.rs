//! What the customer decided.

use jiff::ZonedDateTime;
use std::fmt;

/// Longest name or reason that is kept, characters.
const LONGEST: usize = 500;

/// What was decided.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Agreed, by a tick set by the customer.
    Agreed,
    /// Declined.
    Declined {
        /// Why, in the customer's words.
        why: String,
    },
}

/// A customer's decision on an offer. Made by [`Consent::agreed`] and [`Consent::declined`], so that none is without name and
/// time, none was agreed without a tick, and none declined without a reason.
#[derive(Clone, Debug, PartialEq)]
pub struct Consent {
    name: String,
    offer: String,
    at: ZonedDateTime,
    decision: Decision,
}

/// Why this is no decision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ConsentError {
    /// Nobody is named.
    NoName,
    /// It is not said what was offered.
    NoOffer,
    /// The tick was not set.
    NotTicked,
    /// The reason is missing.
    NoReason,
    /// A text is far longer than any name or reason.
    TooLong,
}

impl fmt::Display for ConsentError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoName => "the name of the person who decides is missing",
            Self::NoOffer => "what was offered is missing",
            Self::NotTicked => "not agreed: the customer has not set the tick",
            Self::NoReason => "write down why it was declined, also where it was only “too dear”",
            Self::TooLong => "this text is too long: keep to 500 characters",
        })
    }
}

impl std::error::Error for ConsentError {}

impl Consent {
    /// The customer agreed to the offer (`62 EUR for a new element`) by setting the tick.
    ///
    /// # Errors
    /// Without name, offer or tick, or where a text is too long.
    pub fn agreed(name: &str, offer: &str, ticked: bool, at: ZonedDateTime) -> Result<Consent, ConsentError> {
        if !ticked {
            return Err(ConsentError::NotTicked);
        }
        Consent::new(name, offer, at, Decision::Agreed)
    }

    /// The customer declined, and why.
    ///
    /// # Errors
    /// Without name, offer or reason, or where a text is too long.
    pub fn declined(name: &str, offer: &str, why: &str, at: ZonedDateTime) -> Result<Consent, ConsentError> {
        let why = text(why, ConsentError::NoReason)?;
        Consent::new(name, offer, at, Decision::Declined { why })
    }

    fn new(name: &str, offer: &str, at: ZonedDateTime, decision: Decision) -> Result<Consent, ConsentError> {
        let (name, offer) = (text(name, ConsentError::NoName)?, text(offer, ConsentError::NoOffer)?);
        Ok(Consent { name, offer, at, decision })
    }

    /// Who decided.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What was offered.
    pub fn offer(&self) -> &str {
        &self.offer
    }

    /// When.
    pub fn at(&self) -> &ZonedDateTime {
        &self.at
    }

    /// What was decided.
    pub fn decision(&self) -> &Decision {
        &self.decision
    }
}

fn text(text: &str, missing: ConsentError) -> Result<String, ConsentError> {
    let text = text.trim();
    match text.chars().take(LONGEST + 1).count() {
        0 => Err(missing),
        n if n > LONGEST => Err(ConsentError::TooLong),
        _ => Ok(text.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::{Consent, ConsentError, Decision};
    use jiff::ZonedDateTime;

    fn noon() -> ZonedDateTime {
        "2026-11-27T12:00:00+00:00[UTC]".parse().unwrap()
    }

    #[test]
    fn nobody_agrees_without_name_and_tick_nor_declines_without_a_reason() {
        let offer = "62 EUR for a new element";
        let agreed = Consent::agreed(" A. Tern ", offer, true, noon()).unwrap();
        assert_eq!((agreed.name(), agreed.decision(), agreed.offer()), ("A. Tern", &Decision::Agreed, offer));
        let declined = Consent::declined("A. Tern", offer, "buys a new one", noon()).unwrap();
        assert_eq!(declined.decision(), &Decision::Declined { why: "buys a new one".to_owned() });
        for (found, wanted) in [
            (Consent::agreed("A. Tern", offer, false, noon()), ConsentError::NotTicked),
            (Consent::agreed("  ", offer, true, noon()), ConsentError::NoName),
            (Consent::agreed("A. Tern", "", true, noon()), ConsentError::NoOffer),
            (Consent::declined("A. Tern", offer, " ", noon()), ConsentError::NoReason),
            (Consent::declined(&"x".repeat(501), offer, "why", noon()), ConsentError::TooLong),
        ] {
            assert_eq!(found, Err(wanted));
        }
    }
}
