//! The tests after a repair.

use machine::diagnostic::nearest;
use quantity::{Dimension, format};
use serde::Deserialize;

/// A test after a repair, in the order in which they are done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Test {
    /// Eyes and hands on cord, plug, casing, guards, markings.
    Visual,
    /// Ohms from the plug's earth pin to metal that can be touched.
    ProtectiveConductor,
    /// Line to line, neutral to neutral, earth continuous, after any work on plug, terminals or cord.
    Polarity,
    /// Ohms from the live parts to earth or to metal that can be touched, at 500 V DC.
    Insulation,
    /// Current in the protective conductor while the machine runs.
    ProtectiveConductorCurrent,
    /// Current from metal that can be touched, through a body network, while the machine runs.
    TouchCurrent,
    /// The machine does what it is for, and its guards and locks hold.
    Functional,
}

/// Name, and other words that mean the same, lower case.
const NAMES: [(Test, &[&str]); 7] = [
    (Test::Visual, &["visual inspection", "visual", "look", "inspection"]),
    (
        Test::ProtectiveConductor,
        &[
            "protective conductor resistance",
            "protective conductor",
            "earth bond",
            "earth continuity",
            "earth",
            "bond",
            "continuity",
            "pe resistance",
            "pe",
            "rpe",
            "r pe",
        ],
    ),
    (Test::Polarity, &["polarity"]),
    (Test::Insulation, &["insulation resistance", "insulation", "riso", "r iso", "iso"]),
    (
        Test::ProtectiveConductorCurrent,
        &[
            "protective conductor current",
            "earth leakage",
            "leakage current",
            "leakage",
            "pe current",
            "ipe",
            "i pe",
        ],
    ),
    (Test::TouchCurrent, &["touch current", "touch", "contact current", "itouch", "i touch"]),
    (Test::Functional, &["functional test", "function test", "functional", "function", "functional run"]),
];

impl Test {
    /// All of them, in the order in which they are done: a test stands after those that it needs.
    pub const ALL: [Test; 7] = [
        Test::Visual,
        Test::ProtectiveConductor,
        Test::Polarity,
        Test::Insulation,
        Test::ProtectiveConductorCurrent,
        Test::TouchCurrent,
        Test::Functional,
    ];

    /// The trade's name.
    pub fn name(self) -> &'static str {
        self.spellings().first().copied().unwrap_or_default()
    }

    /// The key in data and JSON.
    pub const fn key(self) -> &'static str {
        match self {
            Test::Visual => "visual",
            Test::ProtectiveConductor => "protective-conductor",
            Test::Polarity => "polarity",
            Test::Insulation => "insulation",
            Test::ProtectiveConductorCurrent => "protective-conductor-current",
            Test::TouchCurrent => "touch-current",
            Test::Functional => "functional",
        }
    }

    /// The words that name it, its name first.
    pub fn spellings(self) -> &'static [&'static str] {
        NAMES.iter().find(|n| n.0 == self).map_or(&[], |n| n.1)
    }

    /// The test that these words name. Case, hyphens and blanks do not matter.
    ///
    /// # Errors
    /// With a remedy, where no test is called so.
    pub fn named(words: &str) -> Result<Test, String> {
        let plain = words.to_lowercase().replace(['-', '_', '.'], " ");
        let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
        let all = || NAMES.iter().flat_map(|(test, words)| words.iter().map(move |w| (*test, *w)));
        if let Some((test, _)) = all().find(|(_, w)| *w == plain) {
            return Ok(test);
        }
        Err(match nearest(&plain, all().map(|a| a.1)) {
            Some(near) => format!("did you mean “{near}”?"),
            None => format!("tests: {}", Test::ALL.map(Test::name).join(", ")),
        })
    }

    /// What it measures; none: it is answered pass or fail.
    pub const fn measures(self) -> Option<Dimension> {
        match self {
            Test::ProtectiveConductor | Test::Insulation => Some(Dimension::Resistance),
            Test::ProtectiveConductorCurrent | Test::TouchCurrent => Some(Dimension::Current),
            Test::Visual | Test::Polarity | Test::Functional => None,
        }
    }

    /// What it measured, as the trade writes it: ohms of an earth in Ω, leakage in mA, insulation in kΩ or MΩ.
    pub fn written(self, value: f64) -> String {
        let trimmed = |number: String| {
            let number = if number.contains('.') {
                number.trim_end_matches('0').trim_end_matches('.')
            } else {
                &number
            };
            number.to_owned()
        };
        match self.measures() {
            Some(Dimension::Resistance) if self == Test::Insulation => format(value, Dimension::Resistance),
            Some(Dimension::Resistance) => format!("{} Ω", trimmed(format!("{value:.3}"))),
            Some(_) => format!("{} mA", trimmed(format!("{:.3}", value * 1e3))),
            None => String::new(),
        }
    }

    /// The machine is connected to the mains for it.
    pub const fn energises(self) -> bool {
        matches!(self, Test::ProtectiveConductorCurrent | Test::TouchCurrent | Test::Functional)
    }

    /// It applies a voltage that can hurt, with the plug out.
    pub const fn applies_high_voltage(self) -> bool {
        matches!(self, Test::Insulation)
    }

    /// Tests that must have passed before it, as far as they apply: nothing is put under voltage on a doubtful earth,
    /// nothing is energised on doubtful insulation, nothing runs on after it leaked too much.
    pub const fn needs(self) -> &'static [Test] {
        match self {
            Test::Visual | Test::ProtectiveConductor | Test::Polarity => &[],
            Test::Insulation => &[Test::Visual, Test::ProtectiveConductor],
            Test::ProtectiveConductorCurrent => {
                &[Test::Visual, Test::ProtectiveConductor, Test::Polarity, Test::Insulation]
            }
            Test::TouchCurrent => &[
                Test::Visual,
                Test::ProtectiveConductor,
                Test::Polarity,
                Test::Insulation,
                Test::ProtectiveConductorCurrent,
            ],
            Test::Functional => &[
                Test::Visual,
                Test::ProtectiveConductor,
                Test::Polarity,
                Test::Insulation,
                Test::ProtectiveConductorCurrent,
                Test::TouchCurrent,
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Test;

    #[test]
    fn every_spelling_names_its_test_alone() {
        for test in Test::ALL {
            for words in test.spellings() {
                assert_eq!(Test::named(words), Ok(test), "{words}");
            }
            assert_eq!(Test::named(test.key()), Ok(test));
        }
        assert_eq!(Test::named("Earth-Bond "), Ok(Test::ProtectiveConductor));
        assert!(Test::named("insulaton").unwrap_err().contains("insulation"));
        assert!(Test::named("smell").unwrap_err().contains("visual inspection"));
    }

    #[test]
    fn values_are_written_as_the_trade_does() {
        for (test, value, text) in [
            (Test::ProtectiveConductor, 0.09, "0.09 Ω"),
            (Test::ProtectiveConductor, 12.0, "12 Ω"),
            (Test::ProtectiveConductor, 100.0, "100 Ω"),
            (Test::ProtectiveConductor, 0.0, "0 Ω"),
            (Test::TouchCurrent, 0.35e-3, "0.35 mA"),
            (Test::Insulation, 299e6, "299 MΩ"),
        ] {
            assert_eq!(test.written(value), text);
        }
    }

    #[test]
    fn a_test_stands_after_all_that_it_needs() {
        for (place, test) in Test::ALL.iter().enumerate() {
            for needed in test.needs() {
                assert!(Test::ALL[..place].contains(needed), "{test:?} needs {needed:?}");
            }
            assert_eq!(test.energises() || test.applies_high_voltage(), !test.needs().is_empty());
        }
    }
}
