//! One entry of a job's log. What it says has the keys of the evidence file (docs/evidence-file.md), so that the log and
//! the file never drift apart; a few more say what belongs to the job and not to the machine's trouble.

use crate::visit::{HandOverFacts, ProvingFacts, Signature, TesterFacts};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What an entry says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged, deny_unknown_fields)]
pub enum Says {
    /// What fails, in words that the machine file knows.
    Complaint {
        /// The words.
        complaint: String,
    },
    /// A function that works.
    Works {
        /// Its name.
        works: String,
    },
    /// The code, or `none`.
    Code {
        /// The code.
        code: String,
    },
    /// The lamps that are lit.
    Lamps {
        /// Their names.
        lamps: Vec<String>,
    },
    /// Ohms between two points, or what a step read.
    Reading {
        /// In trade notation.
        reading: String,
    },
    /// Something seen, heard or felt in a step.
    Saw {
        /// `right: drum turns`.
        saw: String,
        /// `yes` or `no`.
        answer: String,
    },
    /// The answer to a check by its id.
    Check {
        /// The id.
        check: String,
        /// The answer.
        answer: String,
    },
    /// A part that was mended or changed.
    Mended {
        /// The part.
        mended: String,
        /// Does the machine work now?
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cured: Option<bool>,
    },
    /// Supply at the socket while the machine draws.
    Supply {
        /// `238 V`.
        supply: String,
    },
    /// Water in the machine when the service test began.
    Water {
        /// `0.5 l`.
        water: String,
    },
    /// What the customer says, word for word.
    Words {
        /// The words.
        words: String,
    },
    /// A caution that was read and ticked.
    Caution {
        /// Its text.
        caution: String,
        /// Ticked, or the tick taken away.
        ticked: bool,
    },
    /// The technician pressed on to a step of the service test now.
    Mark {
        /// The step.
        mark: String,
    },
    /// A step of the service test begins at that moment of the trace, set by hand by who looked at it.
    Edge {
        /// The step.
        edge: String,
    },
    /// What parts cost the technician, and what the question whether to repair rests on, as far as it was typed; the newest
    /// counts whole.
    Prices {
        /// Part by its name, amount without currency.
        prices: BTreeMap<String, String>,
        /// Assumption by its name (`age`, `new-price`), and its value.
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        worth: BTreeMap<String, String>,
    },
    /// What the customer decided on an offer.
    Decided {
        /// What was offered, with amount and currency.
        offer: String,
        /// Who decided.
        name: String,
        /// By a tick; else it was declined.
        agreed: bool,
        /// Why it was declined.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
        /// Signed with a finger.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        signature: Option<Signature>,
        /// The parts that the offer is about.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        parts: Vec<String>,
    },
    /// A part that was fitted, or only cleaned, cleared or re-made. Whether the machine works now, [`Says::Mended`] says.
    Fitted {
        /// The part.
        fitted: String,
        /// No new one: it was cleaned, cleared or re-made.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        cleared: bool,
        /// Order code of the new one.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        order: String,
        /// Its serial number.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        serial: String,
        /// What the old one read, alone and out of the machine.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        old: String,
    },
    /// What is known of the appliance that is tested for safety; the newest counts whole.
    Proving {
        /// Where it differs from the machine file and the settings.
        proving: ProvingFacts,
    },
    /// A reading of a safety test, or of a step of the machine's own test after the repair.
    Safety {
        /// `earth bond = 0R09`, `step warm: 1.79 kW`.
        safety: String,
        /// By which tester.
        #[serde(default)]
        tester: TesterFacts,
    },
    /// The safety test was signed off.
    Signed {
        /// By whom.
        signed: String,
        /// What the test came to.
        report: String,
    },
    /// What only the hand-over needs: advice, warranty, the next visit, the invoice's number; the newest counts whole.
    HandOver {
        /// As it was typed.
        hand_over: HandOverFacts,
    },
    /// The job was handed over, and is closed. Said by [`crate::Records::close`] only.
    HandedOver {
        /// By whom.
        handed_over: String,
        /// SHA-256 of the record that was handed over.
        record: String,
    },
    /// Something in a record that was handed over is put right. The record keeps what it says.
    Correction {
        /// Of what: `warranty`, `serial number`.
        correction: String,
        /// What the record says.
        was: String,
        /// What is right.
        now: String,
        /// Why it is put right.
        why: String,
        /// Who puts it right.
        by: String,
    },
    /// Words that were erased because their speaker asked for it. Never said by anyone: it stands where they stood.
    Erased {
        /// On which day.
        erased: String,
    },
    /// Nothing: an entry that takes an earlier one back.
    Nothing {},
}

impl Says {
    /// Does it go into the evidence file as an entry of its own?
    pub fn is_evidence(&self) -> bool {
        !matches!(
            self,
            Says::Supply { .. }
                | Says::Water { .. }
                | Says::Words { .. }
                | Says::Caution { .. }
                | Says::Mark { .. }
                | Says::Edge { .. }
                | Says::Prices { .. }
                | Says::Decided { .. }
                | Says::Fitted { .. }
                | Says::Proving { .. }
                | Says::Safety { .. }
                | Says::Signed { .. }
                | Says::HandOver { .. }
                | Says::HandedOver { .. }
                | Says::Correction { .. }
                | Says::Erased { .. }
        )
    }

    /// Can it hold what leads back to a person? Then it is kept beside the log and not in it, so that it can be erased.
    pub fn is_personal(&self) -> bool {
        matches!(
            self,
            Says::Words { .. } | Says::Decided { .. } | Says::HandOver { .. } | Says::Correction { .. }
        )
    }
}

/// An entry that is to be added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewEntry {
    /// What it says.
    pub says: Says,
    /// The earlier entry that it puts right or, with [`Says::Nothing`], takes back.
    pub supersedes: Option<u32>,
    /// When it was made, by the technician's clock with its zone.
    pub at: jiff::ZonedDateTime,
    /// Names this entry for good: sent twice, it is kept once.
    pub key: String,
}

/// An entry of the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its number in the job, from 1.
    pub number: u32,
    /// When, with zone, as RFC 9557 writes it.
    pub at: String,
    /// What it says.
    pub says: Says,
    /// The earlier entry that it supersedes.
    pub supersedes: Option<u32>,
}

#[cfg(test)]
mod tests {
    use super::Says;

    #[test]
    fn the_keys_are_those_of_the_evidence_file() {
        for text in [
            r#"{"complaint":"does not heat"}"#,
            r#"{"check":"ohms element.1 element.2","answer":"OL"}"#,
            r#"{"saw":"right: drum turns","answer":"no"}"#,
            r#"{"mended":"element","cured":true}"#,
            r#"{"caution":"Unplug","ticked":true}"#,
            r#"{"lamps":[]}"#,
            r#"{"mark":"warm"}"#,
            r#"{"prices":{"element":"38.50"},"worth":{"age":"9"}}"#,
            r#"{"offer":"62.00 EUR: a new element","name":"A. Tern","agreed":true,"signature":"M1 2L3 4","parts":["element"]}"#,
            r#"{"offer":"62.00 EUR: a new element","name":"A. Tern","agreed":false,"why":"too dear"}"#,
            r#"{"fitted":"element","order":"AL-2041","serial":"77","old":"OL"}"#,
            r#"{"fitted":"filter","cleared":true}"#,
            r#"{"proving":{"standard":"iet-5","lead":"3 m","rewired":true}}"#,
            r#"{"safety":"earth bond = 0R09","tester":{"name":"no 7","calibrated":"2026-03-01","accuracy":["earth bond=5% 0R02"]}}"#,
            r#"{"signed":"Ann, technician","report":"Fit to hand back"}"#,
            r#"{"hand_over":{"advice":"Use less powder.","follow_up":"2027-01-12T09:30"}}"#,
            r#"{"handed_over":"Ann, technician","record":"00ff"}"#,
            r#"{"correction":"warranty","was":"6 months","now":"12 months","why":"slip","by":"Ann"}"#,
            r#"{"erased":"2026-11-28"}"#,
            "{}",
        ] {
            let says: Says = serde_json::from_str(text).unwrap();
            assert_eq!(serde_json::to_string(&says).unwrap(), text);
        }
        assert_eq!(serde_json::from_str::<Says>("{}").unwrap(), Says::Nothing {});
        for bad in [
            r#"{"complaints":"x"}"#,
            r#"{"complaint":"x","check":"y"}"#,
            r#"{"check":"x"}"#,
            "7",
            r#"{"offer":"x","name":"y"}"#,
            r#"{"offer":"x","name":"y","agreed":true,"signature":"<svg>"}"#,
            r#"{"safety":"x","tester":{"no":"1"}}"#,
            r#"{"hand_over":{"advise":"x"}}"#,
            r#"{"correction":"warranty","now":"12 months"}"#,
        ] {
            assert!(serde_json::from_str::<Says>(bad).is_err(), "{bad}");
        }
    }
}
