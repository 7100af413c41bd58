//! What is said to the technician: how each test is done with its caution, and what a bad reading means.

use crate::subject::Subject;
use crate::test::Test;
use machine::caution::{DEAD, joined};
use machine::model::Class;

/// Stands under every plan and every report.
pub const DEFER: &str = "The standard itself, local codes and the maker's safety text come first. Testing and repairing mains \
    appliances is for competent persons, licensed where the law asks for it; if that is not you, have the test done. An \
    appliance that fails stays unplugged and labelled.";

/// What a meter's “dead” rests on. Common practice, no source.
const PROVED: &str = "Prove the meter on a known supply before and after.";

/// While an insulation tester measures. Common practice, no source.
const HIGH_VOLTAGE: &str =
    "Nobody touches machine or leads while it measures; let it discharge through the tester afterwards.";

/// Before an appliance is put on the mains for a test.
const ENERGISED: &str = "This puts the machine on the mains: only after the tests before it have passed, panels on, through a \
    residual-current device, hands off metal, water and moving parts, ready to pull the plug.";

/// Something to do, with what could hurt: the two never part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instruction {
    /// What to do.
    pub says: String,
    /// What could hurt and what to do about it.
    pub caution: String,
}

/// What a reading that did not pass means, with what could hurt in looking for its cause.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Meaning {
    /// What it means for a person.
    pub says: &'static str,
    /// What could hurt in looking and what to do about it: comes before `look_for`.
    pub caution: String,
    /// What to look for, likeliest first.
    pub look_for: &'static [&'static str],
}

/// How a test is done on this appliance.
pub(crate) fn instruction(test: Test, subject: &Subject) -> Instruction {
    let dead = joined(&[DEAD, PROVED]);
    let (says, caution) = match test {
        Test::Visual => (
            "Look at cord, plug, strain relief, casing, guards, seals and markings; every screw, panel and earth tab that was off \
             is back."
                .to_owned(),
            dead,
        ),
        Test::ProtectiveConductor => (
            "Measure from the plug's earth pin to each piece of metal that can be touched, and to the part that was fitted where \
             it is earthed. Flex the cord along its length meanwhile: a reading that moves is a fail."
                .to_owned(),
            format!("{dead} Null the test leads first; clean the contact points, paint is no contact."),
        ),
        Test::Polarity => (
            "Check what was rewired end to end: line to line, neutral to neutral, earth continuous; earth core longest, strain \
             relief tight, fuse or plug of the right rating."
                .to_owned(),
            dead,
        ),
        Test::Insulation => {
            let to = match subject.class() {
                Class::I => "line and neutral joined, to the protective conductor",
                Class::II | Class::III => {
                    "live parts joined, to metal that can be touched (foil around plastic handles)"
                }
            };
            let element = if subject.heating_w() > 0.0 && subject.powered_switching {
                " The heater's relay is open at rest, so the plug does not reach the element: measure at the element too, its \
                 tabs off."
            } else {
                ""
            };
            let volts = subject.test_voltage_v();
            let on_leads = format!("{volts} V DC on the test leads and on all they touch.");
            let lower = if volts >= 500 {
                "250 V where surge arresters or parts that do not bear 500 V are fitted; follow the maker's sheet."
            } else {
                ""
            };
            let caution = joined(&[&on_leads, &dead, HIGH_VOLTAGE, lower]);
            (
                format!("Measure at {volts} V DC from {to}; all switches on, door shut, reading settled.{element}"),
                caution,
            )
        }
        Test::ProtectiveConductorCurrent => (
            "Run the machine through the step that heats and the one that spins, and read the current in the protective \
             conductor by the direct or differential method; where the plug can be turned, both ways round. The highest reading \
             counts."
                .to_owned(),
            ENERGISED.to_owned(),
        ),
        Test::TouchCurrent => (
            "Run the machine and read the current from each piece of unearthed metal that can be touched through the tester's \
             body network (IEC 60990); where the plug can be turned, both ways round. The highest reading counts."
                .to_owned(),
            format!("{ENERGISED} Use the tester's probe, never a finger."),
        ),
        Test::Functional => (
            "Run the machine for the customer: it starts, locks and unlocks, no water where none should be, the drum stands \
             before the door opens, guards are back in place, the residual-current device holds through a full heat."
                .to_owned(),
            format!("{ENERGISED} Hot water, hot parts and a turning drum until it has ended."),
        ),
    };
    Instruction { says, caution }
}

/// What it means if a test has not passed.
pub(crate) fn meaning(test: Test) -> Meaning {
    let (says, look_for): (&'static str, &'static [&'static str]) = match test {
        Test::Visual => (
            "Something can be touched, pulled or chafed that must not be: it can hurt before any current is measured.",
            &[
                "damaged cord or plug",
                "a panel, guard or earth tab not put back",
                "strain relief loose",
                "a seal that lets water to the wiring",
            ],
        ),
        Test::ProtectiveConductor => (
            "A fault to the metal would not blow the fuse: the metal would stay live, and a hand would be the way to earth.",
            &[
                "an earth tab left off after the repair, or loose on paint",
                "the earth core broken in the cord (it moves when flexed)",
                "corrosion between panels that earth each other by a screw",
                "worn contact in the plug",
                "leads not nulled",
            ],
        ),
        Test::Polarity => (
            "With line and neutral changed over, “off” is not dead; with earth changed over, the metal is live.",
            &[
                "cores at the wrong terminal of plug or terminal block",
                "a plug wired to another country's colours",
                "tabs changed over on filter or lock",
            ],
        ),
        Test::Insulation => (
            "Mains finds a way to the metal: it may hold today and trip the protection, or hurt somebody, tomorrow.",
            &[
                "element with a cracked sheath (measure it alone, tabs off)",
                "moisture or suds in motor, pump or connectors: dry it and measure again",
                "a wire chafed on the tub or trapped under a panel",
                "mains filter (measure it alone)",
                "carbon dust in a brushed motor",
            ],
        ),
        Test::ProtectiveConductorCurrent => (
            "While it runs, more current leaks to earth than it may: with the earth broken it would go through whoever touches the metal.",
            &[
                "element leaking when hot",
                "mains filter or its capacitors to earth",
                "motor winding or inverter, if it rises with speed",
                "moisture",
            ],
        ),
        Test::TouchCurrent => (
            "Metal that can be touched passes more current through a person than it may.",
            &[
                "double insulation bridged by dirt, water or a wrong screw",
                "a wire against unearthed metal",
                "a filter capacitor of the wrong class",
                "metal that should be earthed and is not",
            ],
        ),
        Test::Functional => (
            "The machine does not do what it is for, or a guard does not hold.",
            &[
                "the fault that was to be mended, or a second one",
                "a connector not pushed home after the repair",
                "lock, float or guard bridged for a test and left so",
            ],
        ),
    };
    // Of these, insulation alone is looked for with a voltage that can hurt.
    let measures =
        if test == Test::Insulation { "The tester puts up to 500 V on what it measures." } else { "" };
    let hands_off = if test == Test::Insulation { HIGH_VOLTAGE } else { "" };
    Meaning { says, caution: joined(&[DEAD, PROVED, measures, hands_off]), look_for }
}
