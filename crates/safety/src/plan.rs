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

/// A test that does not apply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Skipped {
    /// The test.
    pub test: Test,
    /// Why it does not.
    pub why: &'static str,
}

/// The tests for one appliance, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct TestPlan {
    /// The standard whose limits are used.
    pub standard: &'static Standard,
    /// The tests that apply, in the order in which they are done.
    pub planned: Vec<Planned>,
    /// The tests that do not apply.
    pub skipped: Vec<Skipped>,
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
            Test::Polarity if !subject.rewired => Some("nothing was rewired"),
            _ if measured && limit.is_none() => Some(why_not(test, subject)),
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

fn why_not(test: Test, subject: &Subject) -> &'static str {
    match (test, subject.class()) {
        (Test::ProtectiveConductor | Test::ProtectiveConductorCurrent, Class::II | Class::III) => {
            "this class has no protective conductor"
        }
        (Test::TouchCurrent, Class::I) => "no metal that can be touched is without earth",
        (Test::TouchCurrent, Class::III) => "extra-low voltage",
        _ => "no limit of this standard is known here",
    }
}
