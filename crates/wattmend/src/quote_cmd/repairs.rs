//! From suspects to repairs: what is done, how long it takes, which parts it needs.

use super::asked::PartPrices;
use diagnosis::next::panels;
use diagnosis::setup::Setup;
use machine::kind::Mend;
use machine::model::{Machine, PanelId, PartId};
use report::finding::json::Found;
use worth::{Case, Part, Repair};

/// A repair for every suspect, and one for the case that nothing is wrong. Suspects that are mended in the same way are one.
pub(super) fn cases(found: &Found<'_>, setup: &Setup, prices: &PartPrices, spent: u32) -> Vec<Case> {
    let finding = found.finding;
    let mut cases: Vec<Case> = Vec::new();
    let mut add = |repair: Repair, probability: f64| match cases.iter_mut().find(|c| c.repair == repair) {
        Some(same) => same.probability += probability,
        None => cases.push(Case { repair, probability }),
    };
    for suspect in &finding.suspects {
        add(repair(found.machine, suspect.faults.faults(), setup, prices, spent), suspect.probability);
    }
    let showing = Repair {
        what: "show that nothing is wrong with the machine".to_owned(),
        minutes: spent + whole(setup.costs.showing),
        parts: Vec::new(),
    };
    add(showing, finding.healthy);
    cases
}

/// Minutes are charged begun.
fn whole(minutes: f64) -> u32 {
    minutes.clamp(0.0, 10_000.0).ceil() as u32
}

fn repair(
    machine: &Machine,
    faults: &[(PartId, usize)],
    setup: &Setup,
    prices: &PartPrices,
    spent: u32,
) -> Repair {
    let costs = &setup.costs;
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
