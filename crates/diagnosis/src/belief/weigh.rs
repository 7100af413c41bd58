//! How likely one clue is under a set of faults, all of them showing.

use super::Case;
use super::density::{self, Fit, SLIP};
use super::functions::Goes;
use super::predictions::{Predictions, over_waters};
use crate::check::Instrument;
use crate::evidence::{Clue, StepReading};
use crate::setup::Setup;
use bench::{Hypothesis, Prediction};
use machine::model::{CodeId, Machine, PartId};
use quantity::Decoded;

/// A customer who has a fault before them names it. What is left goes to the other functions that fail with it.
/// Common practice, no source.
const NAMED: f64 = 0.9;

/// Weight of a function that only goes oddly against one that fails, when it comes to what is complained of.
/// Common practice, no source.
const ODD_WEIGHT: f64 = 0.25;

/// A customer with a faulty machine complains of a function that works. Common practice, no source.
const MISTAKEN: f64 = 0.02;

/// A code that faults raise is still stored at the visit. Common practice, no source.
const STORED: f64 = 0.85;

/// A sign that is there is noticed; one that is not is imagined. Common practice, no source.
const NOTICED: f64 = 0.93;
const IMAGINED: f64 = 0.03;

/// Power factor below which a current reading tells more than watts do; sets the small current, A (2 W at 230 V).
const SMALL_A: f64 = 0.01;

/// Least spread of a reading of volts, V: what is induced in open wires. Common practice, no source.
const VOLTS_U: f64 = 2.0;

/// Least spread of a speed reading, rpm.
const SPEED_U: f64 = 2.0;

/// Spread of a step's duration, in proportion and s: flow and pressure of the tap differ. Common practice, no source.
const DURATION_U: (f64, f64) = (0.2, 1.5);

/// How likely the clue is.
pub(crate) fn weigh(
    machine: &Machine,
    setup: &Setup,
    predictions: &mut Predictions<'_>,
    clue: &Clue,
    faults: &Hypothesis,
) -> Fit {
    match clue {
        Clue::Fails(functions) => complaint(predictions, functions, faults),
        Clue::Works(function) => Fit::answer(match predictions.ordinary(faults).goes[*function] {
            Goes::Well => 0.97,
            Goes::Oddly => 0.6,
            Goes::Not => 0.04,
        }),
        Clue::Code(code) => {
            let codes = predictions.codes(faults);
            let ordinary = predictions.ordinary(faults);
            by_water(predictions, faults, stored(machine, *code, &codes), |test| {
                let mut codes: Vec<CodeId> = test.iter().filter_map(|p| p.code).collect();
                codes.extend(&ordinary.codes);
                codes.sort_unstable();
                codes.dedup();
                stored(machine, *code, &codes)
            })
        }
        Clue::Ohms(reading) => match predictions.ohms(reading, faults) {
            Some(expected) => density::ohms(
                &reading.shown,
                expected,
                ohm_error(setup, reading.insulation),
                reading.insulation,
            ),
            None => Fit { ln: 0.0, slip: 0.0 },
        },
        Clue::Volts(reading) => match predictions.volts(&reading.names, reading.step, faults) {
            Some(e) => {
                let (relative, _) = ohm_error(setup, false);
                let u = e.u.hypot(relative * e.value / 3f64.sqrt()).hypot(VOLTS_U);
                density::value(&reading.shown, e.value, u, VOLTS_U)
            }
            None => Fit { ln: 0.0, slip: 0.0 },
        },
        Clue::Step(reading) => {
            let fit = step(predictions.step(faults, reading.step), reading);
            by_water(predictions, faults, fit, |test| step(test[reading.step], reading))
        }
        Clue::Sign { step, sign, seen } => {
            let noticed = |p: &Prediction| {
                let there = p.signs.iter().any(|s| s == sign);
                let yes = if there { NOTICED } else { IMAGINED };
                Fit::answer(if *seen { yes } else { 1.0 - yes })
            };
            let fit = noticed(predictions.step(faults, *step));
            by_water(predictions, faults, fit, |test| noticed(test[*step]))
        }
        Clue::Hand { part, check, yes } => Fit::answer(hand(machine, *part, *check, *yes, faults)),
        Clue::Own { check, yes } => Fit::answer(own(machine, *check, *yes, faults)),
        Clue::Mended { works: None, .. } => Fit { ln: 0.0, slip: 0.0 },
        Clue::Mended { works: Some(works), .. } => {
            let runs = runs(predictions, faults);
            Fit::answer(if *works { runs } else { 1.0 - runs })
        }
        Clue::Cycles { function, worked, failed } => {
            let p = match predictions.ordinary(faults).goes[*function] {
                Goes::Well => 0.99,
                Goes::Oddly => 0.7,
                Goes::Not => 0.03,
            };
            // Runs of one machine resemble each other: counted, but not more than a few times over.
            let (w, f) = (f64::from(*worked).min(6.0), f64::from(*failed).min(6.0));
            Fit { ln: w * f64::ln(p) + f * f64::ln(1.0 - p), slip: 0.0 }
        }
    }
}

/// Is the clue about what always shows? A customer calls when the fault shows, however seldom that is.
pub(crate) fn about_showing(clue: &Clue) -> bool {
    matches!(clue, Clue::Fails(_) | Clue::Code(Some(_)))
}

/// Does it take what the machine does in ordinary use to weigh it?
pub(crate) fn about_ordinary_use(clue: &Clue) -> bool {
    matches!(
        clue,
        Clue::Fails(_)
            | Clue::Works(_)
            | Clue::Code(_)
            | Clue::Cycles { .. }
            | Clue::Mended { works: Some(_), .. }
    )
}

/// Is the clue about the part itself, whether its fault shows at the moment or not?
pub(crate) fn about_looks(clue: &Clue) -> bool {
    matches!(clue, Clue::Hand { .. } | Clue::Own { .. })
}

/// Logarithm of what a prediction of usual spread gets that hits the clue.
pub(crate) fn usual(clue: &Clue) -> f64 {
    match clue {
        Clue::Ohms(reading) => density::usual_ohms(&reading.shown),
        Clue::Volts(reading) => density::usual(&reading.shown, VOLTS_U),
        Clue::Step(reading) => {
            let plug = |shown: &Option<Decoded>, small: f64| {
                shown.as_ref().map_or(0.0, |x| density::usual(x, small))
            };
            plug(&reading.power_w, 1.0)
                + plug(&reading.current_a, SMALL_A)
                + plug(&reading.speed_rpm, SPEED_U)
                + plug(&reading.lasted_s, DURATION_U.1)
        }
        _ => f64::NEG_INFINITY,
    }
}

fn ohm_error(setup: &Setup, insulation: bool) -> (f64, f64) {
    let instrument = if insulation { Instrument::InsulationTester } else { Instrument::Multimeter };
    setup
        .owns(instrument)
        .map_or(if insulation { (0.1, 0.0) } else { (0.01, 0.3) }, |o| (o.relative, o.absolute))
}

/// A customer names one of the functions that fail, each as likely as it is striking.
fn complaint(predictions: &mut Predictions<'_>, functions: &[usize], faults: &Hypothesis) -> Fit {
    let ordinary = predictions.ordinary(faults);
    let weight = |goes: &Goes| match goes {
        Goes::Not => 1.0,
        Goes::Oddly => ODD_WEIGHT,
        Goes::Well => 0.0,
    };
    let total: f64 = ordinary.goes.iter().map(weight).sum();
    let named: f64 = functions.iter().filter_map(|&f| ordinary.goes.get(f)).map(weight).sum();
    // Where all that fails only does so a little, few would call.
    let calls = NAMED * total.min(1.0);
    let meant = if total > 0.0 { calls * named / total } else { 0.0 };
    // Of a sound machine anything may be said.
    let slipped = if faults.faults().is_empty() { 1.0 } else { MISTAKEN };
    Fit::of(meant, slipped / ordinary.goes.len().max(1) as f64)
}

/// The fit over the waters that a machine may have, where they make a difference; `usual` is that of the file's.
fn by_water(
    predictions: &mut Predictions<'_>,
    faults: &Hypothesis,
    usual: Fit,
    of: impl Fn(&[&Prediction]) -> Fit,
) -> Fit {
    let Some(waters) = predictions.by_water(faults) else { return usual };
    let sweep = predictions.sweep();
    over_waters(
        usual,
        waters.iter().map(|test| of(&test.iter().map(|&id| sweep.get(id)).collect::<Vec<_>>())),
    )
}

fn stored(machine: &Machine, code: Option<CodeId>, codes: &[CodeId]) -> Fit {
    Fit::answer(match code {
        Some(code) if codes.contains(&code) => STORED / codes.len() as f64,
        Some(_) => SLIP / machine.codes.len().max(1) as f64,
        None if codes.is_empty() => 1.0 - SLIP,
        None => 1.0 - STORED,
    })
}

fn step(p: &Prediction, reading: &StepReading) -> Fit {
    let fits = [
        reading.power_w.as_ref().map(|w| density::plug(w, &[p.power_w], 1.0)),
        reading.current_a.as_ref().map(|a| density::plug(a, &[p.current_a], SMALL_A)),
        reading.speed_rpm.as_ref().map(|n| {
            let rpm = p.speed_rpm.value.abs();
            density::value(n, rpm, p.speed_rpm.u.hypot(SPEED_U), 10.0)
        }),
        reading
            .lasted_s
            .as_ref()
            .map(|s| density::value(s, p.lasts_s, (DURATION_U.0 * p.lasts_s).hypot(DURATION_U.1), 5.0)),
    ];
    let fits = fits.iter().flatten();
    let (ln, slip) = fits.fold((0.0, 0.0_f64), |(ln, slip), fit| (ln + fit.ln, slip.max(fit.slip)));
    Fit { ln, slip }
}

fn hand(machine: &Machine, part: PartId, check: usize, yes: bool, faults: &Hypothesis) -> f64 {
    let kind = machine.parts[part].kind;
    let check = &kind.checks[check];
    let mode = faults.faults().iter().find(|f| f.0 == part).map_or("", |f| kind.modes[f.1].name);
    let says_yes = if check.yes_in.contains(&mode) { 1.0 - check.slip } else { check.slip };
    if yes { says_yes } else { 1.0 - says_yes }
}

/// Chance that the answer to one of a machine file's own checks misleads. Common practice, no source.
const OWN_SLIP: f64 = 0.05;

fn own(machine: &Machine, check: usize, yes: bool, faults: &Hypothesis) -> f64 {
    let check = &machine.checks[check];
    let named = faults.faults().iter().any(|&(part, mode)| {
        let name = machine.parts[part].kind.modes[mode].name;
        check.yes_with.iter().any(|(p, m)| *p == part && m == name)
    });
    let says_yes = if named || (faults.faults().is_empty() && check.yes_when_healthy) {
        1.0 - OWN_SLIP
    } else {
        OWN_SLIP
    };
    if yes { says_yes } else { 1.0 - says_yes }
}

/// Probability that the answer to a hand check or one of the machine's own is yes; the check by its id.
pub(crate) fn says_yes(machine: &Machine, id: &str, faults: &Hypothesis) -> Option<f64> {
    if let Some(name) = id.strip_prefix("own ") {
        let check = machine.checks.iter().position(|c| c.id == name)?;
        return Some(own(machine, check, true, faults));
    }
    let (part, check) = id.strip_prefix("hand ")?.split_once(' ')?;
    let part = machine.part(part)?;
    let check = machine.parts[part].kind.checks.iter().position(|c| c.id == check)?;
    Some(hand(machine, part, check, true, faults))
}

/// Probability that a machine with these faults passes for working once this part is sound.
pub(crate) fn works_without(predictions: &mut Predictions<'_>, case: &Case, part: PartId) -> f64 {
    let left = |shows: bool| {
        let faults = case.shown(predictions.machine()).faults().to_vec();
        let there = |(place, fault): (usize, (PartId, usize))| {
            (fault.0 != part && (shows || !case.sometimes.contains(&place))).then_some(fault)
        };
        Hypothesis::of(faults.into_iter().enumerate().filter_map(there))
    };
    let (always, now) = (left(true), left(false));
    let share = if always == now { 1.0 } else { super::prior::SHOWS_SOMETIMES };
    share * runs(predictions, &always) + (1.0 - share) * runs(predictions, &now)
}

/// Probability that a machine with these faults passes for working after a repair.
fn runs(predictions: &mut Predictions<'_>, faults: &Hypothesis) -> f64 {
    let ordinary = predictions.ordinary(faults);
    let worst = ordinary.goes.iter().map(|g| match g {
        Goes::Well => 0,
        Goes::Oddly => 1,
        Goes::Not => 2,
    });
    match worst.max() {
        Some(2) => 0.04,
        Some(1) => 0.4,
        _ => 0.97,
    }
}
