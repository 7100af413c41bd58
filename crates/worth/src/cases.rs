//! From suspects to repairs: what is done, how long it takes, which parts it needs.

use crate::quote::{Part, Repair};
use crate::range::Case;
use diagnosis::finding::Finding;
use diagnosis::next::panels;
use diagnosis::setup::Costs;
use machine::kind::Mend;
use machine::model::{Machine, PanelId, PartId};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// A part whose price nobody gave costs so many minutes of work. Common practice, no source.
const PART_MINUTES: u32 = 40;

/// What parts cost the technician.
#[derive(Clone, Debug, PartialEq)]
pub struct PartPrices {
    known: BTreeMap<PartId, Decimal>,
    other: Decimal,
}

impl PartPrices {
    /// By what is known of single parts, and what any other costs; where nobody said that either, 40 minutes of work.
    pub fn new(
        known: BTreeMap<PartId, Decimal>,
        other: Option<Decimal>,
        labour_per_hour: Decimal,
    ) -> PartPrices {
        let guess = || labour_per_hour * Decimal::from(PART_MINUTES) / Decimal::from(60);
        PartPrices { known, other: other.unwrap_or_else(guess) }
    }

    /// What a part costs, and whether that is a guess.
    pub fn of(&self, part: PartId) -> (Decimal, bool) {
        self.known.get(&part).map_or((self.other, true), |&price| (price, false))
    }
}

/// A repair for every suspect, and one for the case that nothing is wrong. Suspects that are mended in the same way are one.
/// `spent`: minutes that were worked before, which are charged too.
pub fn cases(
    machine: &Machine,
    finding: &Finding,
    costs: &Costs,
    prices: &PartPrices,
    spent: u32,
) -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    let mut add = |repair: Repair, probability: f64| match cases.iter_mut().find(|c| c.repair == repair) {
        Some(same) => same.probability += probability,
        None => cases.push(Case { repair, probability }),
    };
    for suspect in &finding.suspects {
        add(repair(machine, suspect.faults.faults(), costs, prices, spent), suspect.probability);
    }
    let showing = Repair {
        what: "show that nothing is wrong with the machine".to_owned(),
        minutes: spent + whole(costs.showing),
        parts: Vec::new(),
    };
    add(showing, finding.healthy);
    cases
}

/// Minutes are charged begun.
fn whole(minutes: f64) -> u32 {
    minutes.clamp(0.0, 10_000.0).ceil() as u32
}

/// What mends these faults.
pub fn repair(
    machine: &Machine,
    faults: &[(PartId, usize)],
    costs: &Costs,
    prices: &PartPrices,
    spent: u32,
) -> Repair {
    let mut behind: Vec<PanelId> = Vec::new();
    let mut minutes = costs.proof;
    let (mut parts, mut done) = (Vec::new(), Vec::new());
    for &(id, mode) in faults {
        let part = &machine.parts[id];
        behind.extend(&part.behind);
        let name = part.in_words();
        let mend = part.kind.modes[mode].mend;
        minutes += costs.mending(mend == Mend::Fit);
        match mend {
            Mend::Fit => {
                let (price, guessed) = prices.of(id);
                done.push(format!("fit a new {name}"));
                parts.push(Part { what: name, order: part.order.clone(), price, guessed, quantity: 1 });
            }
            Mend::Clean => done.push(format!("clean or clear {name}")),
            Mend::Remake => done.push(format!("re-make {name}")),
        }
    }
    let access: f64 = panels(machine, &behind).iter().map(|&p| machine.panels[p].minutes).sum();
    Repair { what: done.join(" and "), minutes: spent + whole(minutes + access), parts }
}
