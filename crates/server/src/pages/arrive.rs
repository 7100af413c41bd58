//! Arrive: who, what, which machine, what to be careful of, the supply; and what may be worth taking along.

use super::find::{SuspectView, suspects};
use crate::worked_out::WorkedOut;
use machine::model::Machine;
use quantity::{Dimension, Units};
use records::{Customer, Job, Says};
use report::finding::words;

/// Cautions for every machine (common practice, no source). Local rules and the maker's safety text come first.
const CAUTIONS: [&str; 4] = [
    "Unplug it before anything comes off. Prove the meter on something live, prove the machine dead, prove the meter again.",
    "Charge stays in capacitors after unplugging: wait as long as the machine file says, then measure before you touch.",
    "Water and metal may be hot, and water may stand in it: let it cool, have a tray ready.",
    "Earth: look at plug and cord first. A machine that tripped a breaker is not plugged in again before its insulation is measured.",
];

/// Suspects that are shown before the visit.
const SHOWN: usize = 5;
/// From this probability on a part is worth taking.
const WORTH_TAKING: f64 = 0.04;

pub(super) struct Arrive {
    pub(super) customer: Customer,
    pub(super) words: String,
    /// Complaints of the machine file: words, and the entry that says so, if it was picked.
    pub(super) picks: Vec<Pick>,
    pub(super) machine: Option<MachineView>,
    pub(super) cautions: Vec<Tick>,
    pub(super) supply: String,
    pub(super) water: String,
    /// Unit of a bare number in the field of the water, and half a litre in it.
    pub(super) water_unit: &'static str,
    pub(super) some_water: String,
    /// Likely suspects and parts before anything was read.
    pub(super) before: Option<Before>,
    /// The fold in one line: texts, and whether somebody said them.
    pub(super) line: Vec<(String, bool)>,
    pub(super) open: bool,
}

pub(super) struct Pick {
    pub(super) words: String,
    /// The function of the machine file that fails then.
    pub(super) function: String,
    /// Number of the entry that says it; 0: not picked.
    pub(super) entry: u32,
}

pub(super) struct MachineView {
    pub(super) name: String,
    pub(super) kind: String,
    pub(super) file: String,
    pub(super) variant: String,
    pub(super) variants: Vec<String>,
    pub(super) serial: String,
    pub(super) rated: String,
}

pub(super) struct Tick {
    pub(super) text: String,
    pub(super) ticked: bool,
}

pub(super) struct Before {
    pub(super) suspects: Vec<SuspectView>,
    pub(super) parts: Vec<PartView>,
}

pub(super) struct PartView {
    pub(super) name: String,
    pub(super) order: String,
    pub(super) figure: String,
}

impl Arrive {
    pub(super) fn of(
        machine: Option<&Machine>,
        job: &Job,
        found: Option<&WorkedOut>,
        units: Units,
    ) -> Arrive {
        let log = &job.log;
        let has_readings = log.standing().any(|e| {
            matches!(e.says, Says::Reading { .. } | Says::Check { .. } | Says::Saw { .. } | Says::Code { .. })
        });
        let picks = machine.map_or(Vec::new(), |machine| picks(machine, job));
        let ticks: Vec<Tick> = machine.map_or(Vec::new(), |machine| {
            let of_panels = machine.panels.iter().filter(|p| !p.caution.is_empty());
            let of_panels = of_panels.map(|p| format!("{}: {}", p.name, p.caution));
            let all = CAUTIONS.iter().map(|c| (*c).to_owned()).chain(of_panels);
            all.map(|text| Tick { ticked: log.is_ticked(&text), text }).collect()
        });
        let words = log.words().unwrap_or_default().to_owned();
        let picked: Vec<&str> = picks.iter().filter(|p| p.entry > 0).map(|p| p.words.as_str()).collect();
        let says = if picked.is_empty() { words.clone() } else { picked.join(", ") };
        let unticked = ticks.iter().filter(|t| !t.ticked).count();
        let mut line: Vec<(String, bool)> = Vec::new();
        if machine.is_none() {
            line.push(("which machine is it?".to_owned(), false));
        }
        line.push(if says.is_empty() { ("what is wrong with it?".to_owned(), false) } else { (says, true) });
        line.extend(log.supply().map(|supply| (supply.to_owned(), true)));
        if unticked > 0 {
            line.push((format!("{unticked} cautions to tick"), false));
        }
        Arrive {
            customer: job.customer.clone().unwrap_or_default(),
            open: machine.is_none() || !has_readings,
            before: found.filter(|_| !has_readings).map(before),
            picks,
            machine: machine.map(|m| machine_view(m, job)),
            cautions: ticks,
            supply: log.supply().unwrap_or_default().to_owned(),
            water: log.water().unwrap_or_default().to_owned(),
            water_unit: units.symbol(Dimension::Volume),
            some_water: units.format(0.5, Dimension::Volume),
            line,
            words,
        }
    }
}

impl Arrive {
    /// Was a complaint of the machine file picked?
    pub(super) fn is_picked(&self) -> bool {
        self.picks.iter().any(|p| p.entry > 0)
    }
}

fn picks(machine: &Machine, job: &Job) -> Vec<Pick> {
    let entry = |words: &str| {
        let said = job
            .log
            .standing()
            .find(|e| matches!(&e.says, Says::Complaint { complaint } if complaint == words));
        said.map_or(0, |e| e.number)
    };
    let all = machine.functions.iter().flat_map(|f| f.complaints.iter().map(|words| (words, &f.name)));
    all.map(|(words, function)| Pick {
        entry: entry(words),
        words: words.clone(),
        function: function.clone(),
    })
    .collect()
}

fn machine_view(machine: &Machine, job: &Job) -> MachineView {
    let plate = &machine.plate;
    let known = job.machine.as_ref();
    let rated_w = plate
        .rated_w
        .map_or(String::new(), |w| format!(", {}", quantity::format(w, quantity::Dimension::Power)));
    MachineView {
        name: format!("{} {}", plate.maker, plate.model),
        kind: plate.kind.clone(),
        file: known.map_or(String::new(), |m| m.file_name.clone()),
        variant: known.map_or(String::new(), |m| m.variant.clone()),
        variants: plate.variants.clone(),
        serial: known.map_or(String::new(), |m| m.serial.clone()),
        rated: format!("{:.0} V {:.0} Hz{rated_w}, class {:?}", plate.supply_v, plate.supply_hz, plate.class),
    }
}

fn before(found: &WorkedOut) -> Before {
    let machine = &found.machine;
    let mut chance: Vec<(usize, f64)> = Vec::new();
    for suspect in &found.finding.suspects {
        for &(part, _) in suspect.faults.faults() {
            match chance.iter_mut().find(|c| c.0 == part) {
                Some(known) => known.1 += suspect.probability,
                None => chance.push((part, suspect.probability)),
            }
        }
    }
    let part = |&(part, p): &(usize, f64)| {
        let part = &machine.parts[part];
        PartView { name: part.id.clone(), order: part.order.clone(), figure: words::per_cent(p) }
    };
    chance.sort_by(|a, b| b.1.total_cmp(&a.1));
    let worth = chance.iter().filter(|c| c.1 >= WORTH_TAKING && !machine.parts[c.0].order.is_empty());
    Before { suspects: suspects(found).into_iter().take(SHOWN).collect(), parts: worth.map(part).collect() }
}
