//! The fault that a learner is to find.

use crate::dice::{Dice, Purpose};
use crate::setting::Setting;
use crate::specimen::specimen;
use crate::subject::Subject;
use bench::Hypothesis;
use machine::model::{Machine, PartId};

/// How often nothing is wrong with the machine. Common practice, no source.
const SOUND: f64 = 0.08;

/// A hard fault is one of those which together make up this share of all jobs, the rarest.
const RARE: f64 = 0.25;

/// Share of the time in which a hard fault that comes and goes shows. Common practice, no source.
const SHOWS: (f64, f64) = (0.35, 0.7);

/// Faults that are drawn before giving up: most show in some function.
const TRIES: usize = 200;

/// A hidden fault and what the customer says.
#[derive(Debug)]
pub struct Hidden {
    /// The machine that has it.
    pub subject: Subject,
    /// It shows only sometimes.
    pub comes_and_goes: bool,
    /// Place in `Machine::functions` of what the customer says fails.
    pub complaint: usize,
}

/// Draws a fault by the rates of the machine file, or, `hard`, a rare one, one that comes and goes, or two at once; it
/// shows in some function. None where no fault of the machine shows to its user.
pub fn hidden(machine: &Machine, seed: u64, hard: bool) -> Option<Hidden> {
    let mut dice = Dice::new(seed, Purpose::Hidden);
    let mut faults: Vec<(f64, (PartId, usize))> =
        machine.single_faults().map(|(part, mode)| (machine.parts[part].rates[mode], (part, mode))).collect();
    if machine.functions.is_empty() || faults.is_empty() {
        return None;
    }
    faults.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for _ in 0..TRIES {
        let mut setting = Setting::kitchen(machine.plate.supply_v);
        let drawn = match (hard, dice.below(3)) {
            (true, 0) => vec![draw(rare(&faults), &mut dice)],
            (true, 1) => {
                setting.intermittent = Some(dice.between(SHOWS.0, SHOWS.1));
                vec![draw(&faults, &mut dice)]
            }
            (true, _) => vec![draw(&faults, &mut dice), draw(&faults, &mut dice)],
            (false, _) if dice.chance(SOUND) => Vec::new(),
            (false, _) => vec![draw(&faults, &mut dice)],
        };
        let sound = drawn.is_empty();
        let comes_and_goes = setting.intermittent.is_some();
        let subject = Subject::new(specimen(machine, seed), Hypothesis::of(drawn), setting, seed);
        let failing = subject.complaint();
        let complaint = if sound {
            Some(dice.below(machine.functions.len()))
        } else {
            let said = failing.get(dice.below(failing.len()));
            said.and_then(|name| machine.functions.iter().position(|f| f.name == *name))
        };
        if let Some(complaint) = complaint {
            return Some(Hidden { subject, comes_and_goes, complaint });
        }
    }
    None
}

/// Those that together make up a small share.
fn rare(faults: &[(f64, (PartId, usize))]) -> &[(f64, (PartId, usize))] {
    let total: f64 = faults.iter().map(|f| f.0).sum();
    let mut sum = 0.0;
    let count = faults.iter().take_while(|f| {
        sum += f.0;
        sum <= RARE * total
    });
    let count = count.count().max(1);
    &faults[..count]
}

fn draw(faults: &[(f64, (PartId, usize))], dice: &mut Dice) -> (PartId, usize) {
    let mut left = dice.share() * faults.iter().map(|f| f.0).sum::<f64>();
    for (rate, fault) in faults {
        left -= rate;
        if left < 0.0 {
            return *fault;
        }
    }
    faults[faults.len() - 1].1
}
