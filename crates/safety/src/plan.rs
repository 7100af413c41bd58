//! Which tests apply to an appliance by a standard, in the order in which they are done.

use crate::advice::{Instruction, instruction};
use crate::limits::{Limit, Standard, limit};
use crate::subject::Subject;
use crate::test::Test;
use machine::model::Class;

/// A test that applies.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// The test.
    pub test: Test,
    /// What to do, and what could hurt.
    pub instruction: Instruction,
    /// The limit, where it is a measurement.
    pub limit: Option<Limit>,
}

/// A test that is not done here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Skipped {
    /// The test.
    pub test: Test,
    /// Why it is not.
    pub why: WhyNot,
}

/// Why a test is not done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhyNot {
    /// It does not apply to this appliance, for this reason.
    DoesNotApply(&'static str),
    /// It may well apply, but its limit in this standard is not known here: nothing is said about it.
    NoLimitKnown,
}

/// The tests for one appliance, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct TestPlan {
    /// The standard whose limits are used.
    pub standard: &'static Standard,
    /// The tests that apply, in the order in which they are done.
    pub planned: Vec<Planned>,
    /// The tests that do not apply, or whose limit is not known.
    pub skipped: Vec<Skipped>,
}

/// Those of the tests left out whose limit is not known: they may apply, and nobody has judged them.
pub(crate) fn not_judged(skipped: &[Skipped]) -> impl Iterator<Item = Test> + '_ {
    skipped.iter().filter(|s| s.why == WhyNot::NoLimitKnown).map(|s| s.test)
}

impl TestPlan {
    /// The entry of a test, where it applies.
    pub fn get(&self, test: Test) -> Option<&Planned> {
        self.planned.iter().find(|p| p.test == test)
    }
}

/// The tests that apply.
pub fn plan(subject: &Subject, standard: &'static Standard) -> TestPlan {
    let mut plan = TestPlan { standard, planned: Vec::new(), skipped: Vec::new() };
    for test in Test::ALL {
        let limit = limit(standard, test, subject);
        let measured = test.measures().is_some();
        let skip = match test {
            Test::Polarity if !subject.rewired => Some(WhyNot::DoesNotApply("nothing was rewired")),
            _ if measured && limit.is_none() => Some(why_not(standard, test, subject)),
            _ => None,
        };
        match skip {
            Some(why) => plan.skipped.push(Skipped { test, why }),
            None => {
                plan.planned.push(Planned { test, instruction: instruction(test, subject), limit });
            }
        }
    }
    plan
}

fn why_not(standard: &Standard, test: Test, subject: &Subject) -> WhyNot {
    let with_relays = Subject { powered_switching: true, ..*subject };
    WhyNot::DoesNotApply(match (test, subject.class()) {
        (Test::ProtectiveConductor | Test::ProtectiveConductorCurrent, Class::II | Class::III) => {
            "this class has no protective conductor"
        }
        (Test::TouchCurrent, Class::I) if !subject.unearthed_metal => {
            "no metal that can be touched is without earth"
        }
        (Test::TouchCurrent, Class::III) => "extra-low voltage",
        _ if limit(standard, test, &with_relays).is_some() => "no switch inside needs power to close",
        _ => return WhyNot::NoLimitKnown,
    })
}
