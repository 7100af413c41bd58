//! The made-up machine answers a check, in words and as evidence.

use bench::Hypothesis;
use diagnosis::check::Check;
use diagnosis::evidence::{Asked, Clue, Entry, Listener, OhmsReading, StepReading, VoltsReading};
use machine::model::Machine;
use quantity::{Decoded, Dimension, Reading, format};
use simulator::{Shown, Subject, SubjectError};

/// What came of a check.
pub(crate) struct Answered {
    pub(crate) says: String,
    pub(crate) entries: Vec<Entry>,
}

/// Last digits of the plug-in meter's current, A.
const CURRENT_STEP: f64 = 0.001;

/// Has the subject answer.
pub(crate) fn answer(
    machine: &Machine,
    subject: &mut Subject,
    check: &Check,
) -> Result<Answered, SubjectError> {
    let listener = Listener::new(machine);
    let asked =
        listener.asked(&check.id).map_err(|e| SubjectError { message: e.message, remedy: e.remedy })?;
    let (says, clues) = match asked {
        Asked::Ohms { points, names, unplugged, insulation } => {
            let off: Vec<&str> = unplugged.iter().map(String::as_str).collect();
            let [a, b] = &names;
            let shown =
                if insulation { subject.insulation(a, b, &off)? } else { subject.ohms(a, b, &off)? };
            let says = match shown {
                Reading::OverRange { .. } => "OL".to_owned(),
                Reading::Value(v) => format(v.value, Dimension::Resistance),
            };
            (says, vec![Clue::Ohms(OhmsReading { points, names, unplugged, shown, insulation })])
        }
        Asked::Volts { names, step } => {
            let [a, b] = &names;
            match subject.volts(a, b, &machine.test.steps[step].id)? {
                Reading::Value(shown) => {
                    let says = format(shown.value, Dimension::Voltage);
                    (says, vec![Clue::Volts(VoltsReading { names, step, shown })])
                }
                Reading::OverRange { .. } => ("OL".to_owned(), Vec::new()),
            }
        }
        Asked::Hand { part, check } => {
            let yes =
                subject.hand_check(&machine.parts[part].id, machine.parts[part].kind.checks[check].id)?;
            (yes_no(yes), vec![Clue::Hand { part, check, yes }])
        }
        Asked::Own(check) => {
            let yes = subject.own_check(&machine.checks[check].id)?;
            (yes_no(yes), vec![Clue::Own { check, yes }])
        }
        Asked::Step(step) => {
            let shown = subject.step(&machine.test.steps[step].id)?;
            (step_says(&shown), step_clues(machine, step, &shown))
        }
        Asked::Swap(part) => {
            let works = subject.swap(&machine.parts[part].id)?;
            (yes_no(works), vec![Clue::Mended { part, works: Some(works) }])
        }
    };
    let said = format!("{}: {says}", check.id);
    Ok(Answered { entries: Entry::of_one(clues, &said, None, Some(&check.id)), says })
}

fn yes_no(yes: bool) -> String {
    if yes { "yes" } else { "no" }.to_owned()
}

fn step_says(shown: &Shown) -> String {
    if shown.tripped {
        return "a protection of the house goes off; everything is dark".to_owned();
    }
    let mut all = vec![format!("{:.0} W, {:.2} A at {:.0} V", shown.watts, shown.amps, shown.volts)];
    all.push(if shown.signs.is_empty() {
        "nothing to see or hear".to_owned()
    } else {
        shown.signs.join(", ")
    });
    all.extend(shown.code.as_ref().map(|c| format!("code {c}")));
    if shown.timed_out {
        all.push(format!("does not end by itself within {:.0} s", shown.lasts_s));
    }
    if shown.ended {
        all.push("the test ends".to_owned());
    }
    all.join("; ")
}

/// Watts and amperes, the signs that a healthy machine would show or that are there, and the code.
fn step_clues(machine: &Machine, step: usize, shown: &Shown) -> Vec<Clue> {
    let reading = |value: f64, resolution: f64| Some(Decoded { value, resolution });
    let mut all = vec![Clue::Step(StepReading {
        step,
        power_w: reading(shown.watts, 1.0),
        current_a: reading(shown.amps, CURRENT_STEP),
        speed_rpm: None,
        lasted_s: None,
    })];
    let conditions = bench::Conditions::at(machine.plate.supply_v);
    let healthy = bench::Bench::new(machine).predict(&Hypothesis::healthy(), &conditions);
    let normal = healthy.get(step).map_or(Vec::new(), |p| p.signs.clone());
    let mut signs: Vec<&str> = normal;
    signs.extend(shown.signs.iter().filter(|s| !healthy.get(step).is_some_and(|p| p.signs.contains(s))));
    for sign in signs {
        all.push(Clue::Sign { step, sign: sign.to_owned(), seen: shown.signs.contains(&sign) });
    }
    let code = shown.code.as_ref().and_then(|c| machine.codes.iter().position(|code| code.id == *c));
    all.extend(code.map(|c| Clue::Code(Some(c))));
    all
}
