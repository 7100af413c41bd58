//! Figures over many cases, as tables.

use crate::Done;
use crate::case::{Draw, Way};
use crate::dice::Dice;
use crate::job::Standing;
use std::collections::BTreeMap;

/// Least probability that the logarithmic loss reckons with: the shortest list leaves out less.
const LEAST: f64 = 1e-3;

/// Bins of the calibration error.
const BINS: usize = 10;

/// Sums over cases.
#[derive(Default)]
struct Sums {
    cases: f64,
    first: f64,
    third: f64,
    mode_first: f64,
    loss: f64,
    bins: [(f64, f64, f64); BINS],
}

impl Sums {
    fn add(&mut self, s: &Standing) {
        self.cases += 1.0;
        let right = f64::from(u8::from(s.place == 1));
        self.first += right;
        self.third += f64::from(u8::from(s.place <= 3));
        self.mode_first += f64::from(u8::from(s.mode_place == 1));
        self.loss -= s.truth.max(LEAST).ln();
        let bin = &mut self.bins[((s.first * BINS as f64) as usize).min(BINS - 1)];
        bin.0 += 1.0;
        bin.1 += s.first;
        bin.2 += right;
    }

    /// Expected calibration error: the mean distance of confidence from share right, over bins of equal width
    /// (Naeini, Cooper & Hauskrecht 2015).
    fn calibration_error(&self) -> f64 {
        self.bins.iter().map(|b| (b.1 - b.2).abs()).sum::<f64>() / self.cases.max(1.0)
    }

    fn row(&self) -> String {
        let share = |x: f64| format!("{:.1} %", 100.0 * x / self.cases.max(1.0));
        format!(
            "{} | {} | {} | {:.2} | {:.3}",
            share(self.first),
            share(self.third),
            share(self.mode_first),
            self.loss / self.cases.max(1.0),
            self.calibration_error()
        )
    }
}

/// What else is counted.
#[derive(Default)]
struct Work {
    cases: f64,
    checks: f64,
    sure: f64,
    wrongly_sure: f64,
    minutes: f64,
    repairs: f64,
    works: f64,
    left_out: f64,
}

/// All tables.
pub(crate) fn print(all: &[Done]) {
    println!(
        "| cases | n | right part first | among three | and mode first | log-loss | calibration error |"
    );
    println!("|---|---|---|---|---|---|---|");
    for draw in Draw::ALL {
        for (words, of) in [("after the test", 0), ("after the checks", 1)] {
            standing_row(&format!("{}, {words}", draw.says()), all.iter().filter(|d| d.draw == draw), of);
        }
    }
    println!();
    println!(
        "| machine, meter (single faults) | n | right part first | among three | and mode first | log-loss | calibration error |"
    );
    println!("|---|---|---|---|---|---|---|");
    let single = |d: &&Done| matches!(d.draw, Draw::ByRate | Draw::Uniform);
    let mut names: Vec<&str> = all.iter().map(|d| d.machine.as_str()).collect();
    names.dedup();
    for name in names {
        for way in Way::ALL {
            let those = || all.iter().filter(single).filter(|d| d.machine == name && d.way == way);
            standing_row(&format!("{name}, {}, after the test", way.says()), those(), 0);
            standing_row(&format!("{name}, {}, after the checks", way.says()), those(), 1);
        }
    }
    for (words, of) in [("after the test", 0), ("after the checks", 1)] {
        standing_row(&format!("all single faults, {words}"), all.iter().filter(single), of);
    }
    println!();
    work(all);
    println!();
    plans(all);
    println!();
    calibration(all);
}

fn standing_row<'a>(name: &str, cases: impl Iterator<Item = &'a Done>, of: usize) {
    let mut sums = Sums::default();
    for done in cases {
        sums.add(if of == 0 { &done.outcome.after_test } else { &done.outcome.at_end });
    }
    if sums.cases > 0.0 {
        println!("| {name} | {} | {} |", sums.cases, sums.row());
    }
}

fn work(all: &[Done]) {
    println!(
        "| cases | checks | sure | of these wrong | repairs | minutes | works in the end | left out, mean |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for draw in Draw::ALL {
        for way in Way::ALL {
            let mut w = Work::default();
            for d in all.iter().filter(|d| d.draw == draw && d.way == way) {
                let o = &d.outcome;
                w.cases += 1.0;
                w.checks += o.checks.len() as f64;
                w.sure += f64::from(u8::from(o.sure));
                w.wrongly_sure += f64::from(u8::from(o.sure && o.at_end.place != 1));
                w.minutes += o.minutes;
                w.repairs += o.repairs as f64;
                w.works += f64::from(u8::from(o.works));
                w.left_out += o.at_end.left_out;
            }
            if w.cases > 0.0 {
                println!(
                    "| {}, {} | {:.1} | {:.0} % | {:.1} % | {:.2} | {:.0} | {:.1} % | {:.0e} |",
                    draw.says(),
                    way.says(),
                    w.checks / w.cases,
                    100.0 * w.sure / w.cases,
                    100.0 * w.wrongly_sure / w.sure.max(1.0),
                    w.repairs / w.cases,
                    w.minutes / w.cases,
                    100.0 * w.works / w.cases,
                    w.left_out / w.cases
                );
            }
        }
    }
}

fn plans(all: &[Done]) {
    println!(
        "| from the end of the test on | n | no plan takes less | the plan | myopic | probability by cost | by prior |"
    );
    println!("|---|---|---|---|---|---|---|");
    let mut rows: BTreeMap<&str, Vec<[f64; 5]>> = BTreeMap::new();
    for d in all {
        if let Some(p) = &d.outcome.plans {
            let row = [p.lower, p.upper, p.myopic, p.ratio, p.by_prior];
            rows.entry("all").or_default().push(row);
            let proven = p.upper - p.lower <= 1e-6 * p.upper;
            rows.entry(if proven { "optimum proven" } else { "optimum not proven" }).or_default().push(row);
        }
    }
    for (name, list) in rows {
        let mean = |k: usize| list.iter().map(|r| r[k]).sum::<f64>() / list.len() as f64;
        println!(
            "| {name} | {} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} |",
            list.len(),
            mean(0),
            mean(1),
            mean(2),
            mean(3),
            mean(4)
        );
    }
}

fn calibration(all: &[Done]) {
    println!("| probability of the first, single faults after the checks | n | mean | right |");
    println!("|---|---|---|---|");
    let mut sums = Sums::default();
    for d in all.iter().filter(|d| matches!(d.draw, Draw::ByRate | Draw::Uniform)) {
        sums.add(&d.outcome.at_end);
    }
    for (bin, (n, p, right)) in sums.bins.iter().enumerate().filter(|(_, b)| b.0 > 0.0) {
        println!(
            "| {:.1} to {:.1} | {n} | {:.3} | {:.3} |",
            bin as f64 / 10.0,
            (bin + 1) as f64 / 10.0,
            p / n,
            right / n
        );
    }
    let given: Vec<f64> = all
        .iter()
        .filter(|d| matches!(d.draw, Draw::ByRate | Draw::Uniform))
        .map(|d| d.outcome.at_end.first)
        .collect();
    println!(
        "\nOf so many cases, probabilities that are exactly right show an error of {:.3}.",
        by_chance(&given)
    );
}

/// Calibration error in the mean where each is right as often as it says: few cases never fill a bin evenly.
fn by_chance(given: &[f64]) -> f64 {
    const TRIES: usize = 400;
    let mut dice = Dice::new(1);
    let mut one = || {
        let mut sums = Sums::default();
        for &first in given {
            let place = if dice.chance(first) { 1 } else { 2 };
            sums.add(&Standing { place, first, ..Standing::default() });
        }
        sums.calibration_error()
    };
    (0..TRIES).map(|_| one()).sum::<f64>() / TRIES as f64
}

/// A case in one line: what was wrong with it, what was named, how sure.
pub(crate) fn line(d: &Done) -> String {
    let o = &d.outcome;
    let standing = |s: &Standing| {
        let place = if s.place == usize::MAX { "unlisted".to_owned() } else { s.place.to_string() };
        format!("{} {:.2} (truth {:.3}, {place}, left out {:.0e})", s.named, s.first, s.truth, s.left_out)
    };
    format!(
        "{} {} {} --only {}: {}; after the test {}; at the end {}; {} checks, {}, slips {}",
        d.machine,
        d.draw.says(),
        d.way.says(),
        d.seed,
        d.truth,
        standing(&o.after_test),
        standing(&o.at_end),
        o.checks.len(),
        if o.sure { "sure" } else { "not sure" },
        o.slips
    )
}

/// The cases that went wrong, or all, one after the other.
pub(crate) fn failures(all: &[Done], every: bool) {
    for d in all.iter().filter(|d| every || d.outcome.at_end.place != 1) {
        let o = &d.outcome;
        println!("{}", line(d));
        let mut said = o.said.clone();
        said.dedup();
        for said in &said {
            println!("    {said}");
        }
        for (what, nats) in &o.misled {
            println!("    {nats:+.1} for what stood first: {what}");
        }
    }
}
