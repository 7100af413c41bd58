//! Find: the next check as one question, then what is suspected and why.

use crate::problem::Problem;
use crate::setup::run_out;
use crate::worked_out::{DONT_HAVE, WorkedOut};
use bench::Hypothesis;
use diagnosis::check::{Check, CheckKind, Instrument, Power};
use diagnosis::finding::{Action, Finding, Next, Suspect};
use machine::model::{Machine, PanelId};
use records::{Job, Says, Settings};
use report::finding::words;

/// Most suspects named beside one reading.
const NAMED: usize = 3;

pub(super) struct FindView {
    pub(super) trouble: Option<Problem>,
    pub(super) found: Option<FoundView>,
    /// What was answered, newest first, to be put right or taken back.
    pub(super) known: Vec<KnownView>,
    pub(super) line: String,
    pub(super) needs: &'static str,
}

pub(super) struct FoundView {
    pub(super) sure: Option<String>,
    pub(super) ask: Option<AskView>,
    pub(super) otherwise: Vec<Otherwise>,
    pub(super) suspects: Vec<SuspectView>,
    pub(super) leading: String,
    pub(super) others: String,
    pub(super) left_out: String,
    pub(super) conflicts: Vec<String>,
    pub(super) minutes: String,
}

/// How an answer is given.
#[derive(PartialEq, Eq)]
pub(super) enum Field {
    /// Ohms in trade notation.
    Ohms,
    /// Watts, amperes and the code of a step.
    Step,
    /// Yes or no.
    YesNo,
    /// A repair: agreed on, fitted and answered for in its own folds.
    Repair,
    /// Nothing is asked: hand the machine back.
    None,
}

pub(super) struct AskView {
    pub(super) id: String,
    pub(super) says: String,
    pub(super) caution: String,
    pub(super) with: String,
    pub(super) dont_have: String,
    /// That the calibration of the instrument has run out.
    pub(super) run_out: String,
    pub(super) takes: String,
    pub(super) points: Option<[String; 2]>,
    pub(super) field: Field,
    pub(super) question: &'static str,
    pub(super) codes: Vec<String>,
    pub(super) reads: Vec<ReadsView>,
    pub(super) why: String,
}

pub(super) struct ReadsView {
    pub(super) reading: String,
    pub(super) who: String,
}

pub(super) struct Otherwise {
    pub(super) says: String,
    pub(super) why: String,
}

pub(super) struct SuspectView {
    pub(super) name: String,
    pub(super) figure: String,
    pub(super) word: &'static str,
    /// Length of the bar, of 100.
    pub(super) bar: u32,
    pub(super) reason: String,
}

pub(super) struct KnownView {
    pub(super) entry: u32,
    pub(super) said: String,
    pub(super) at: String,
    /// Who said it; empty where the bench knows no people.
    pub(super) by: String,
}

impl FindView {
    pub(super) fn of(
        job: &Job,
        machine: Option<&Machine>,
        found: Option<&WorkedOut>,
        trouble: Option<Problem>,
        authors: &[(u32, String)],
        settings: &Settings,
    ) -> FindView {
        let needs = match (machine, found) {
            (None, _) => "Find needs the machine file: match the machine under Arrive.",
            (Some(_), None) if trouble.is_none() => {
                "Find needs something to go by: say what fails, or type a reading."
            }
            _ => "",
        };
        let found = found.map(|f| FoundView::of(f, settings));
        let line = match &found {
            Some(f) => f.sure.clone().unwrap_or_else(|| f.leading.clone()),
            None => String::new(),
        };
        let said = |says: &Says| match says {
            Says::Check { check, answer } if answer == DONT_HAVE => {
                Some(format!("{check}: no such instrument here, all checks with it are passed over"))
            }
            Says::Check { check, answer } => Some(format!("{check}: {answer}")),
            Says::Reading { reading } => Some(reading.clone()),
            Says::Saw { saw, answer } => Some(format!("{saw}: {answer}")),
            Says::Code { code } => Some(format!("code {code}")),
            Says::Complaint { complaint } => Some(format!("customer: {complaint}")),
            Says::Works { works } => Some(format!("{works} works")),
            _ => None,
        };
        let known = |e: &records::Entry| {
            let by = authors.iter().find(|(number, _)| *number == e.number);
            Some(KnownView {
                entry: e.number,
                said: said(&e.says)?,
                at: super::layout::short_time(&e.at),
                by: by.map_or(String::new(), |(_, name)| name.clone()),
            })
        };
        let mut known: Vec<KnownView> = job.log.standing().filter_map(known).collect();
        known.reverse();
        FindView { trouble, found, known, line, needs }
    }

    /// The same, where what is known is still being worked out.
    pub(super) fn pending(self, pending: bool) -> FindView {
        if pending { FindView { needs: "Working out what it could be …", ..self } } else { self }
    }
}

impl FoundView {
    fn of(found: &WorkedOut, settings: &Settings) -> FoundView {
        let finding = &found.finding;
        let suspects = suspects(found);
        let leading = suspects.first().map_or(String::new(), |s| format!("{} {}", s.name, s.figure));
        FoundView {
            sure: finding.sure.as_ref().map(|s| s.says.clone()),
            ask: finding.next.first().map(|next| ask(&found.machine, next, settings)),
            otherwise: finding.next.iter().skip(1).take(3).map(otherwise).collect(),
            leading,
            others: share(finding.others),
            left_out: if finding.left_out > 0.0005 {
                words::at_most(finding.left_out)
            } else {
                String::new()
            },
            conflicts: finding.conflicts.iter().map(|c| c.says.clone()).collect(),
            minutes: minutes_left(finding),
            suspects,
        }
    }
}

fn share(p: f64) -> String {
    if p > 0.0005 { words::per_cent(p) } else { String::new() }
}

fn minutes_left(finding: &Finding) -> String {
    finding.minutes_left.map_or(String::new(), |(least, most)| {
        let most_said = words::minutes(most);
        if most - least < 0.5 {
            most_said
        } else {
            format!("{most_said} at most, no plan under {}", words::minutes(least))
        }
    })
}

/// Suspects, and healthy among them, likeliest first.
pub(super) fn suspects(found: &WorkedOut) -> Vec<SuspectView> {
    let finding = &found.finding;
    let view = |name: String, p: f64, reason: String| SuspectView {
        name,
        figure: words::per_cent(p),
        word: words::likelihood(p, finding.left_out),
        bar: (100.0 * p).round() as u32,
        reason,
    };
    let mut all: Vec<SuspectView> = finding
        .suspects
        .iter()
        .map(|s| view(name(&found.machine, s), s.probability, s.reason.clone()))
        .collect();
    let at = finding.suspects.partition_point(|s| s.probability >= finding.healthy);
    let elsewhere =
        format!("{}; then check the tap, the load, the programme, the socket", finding.healthy_reason);
    all.insert(at, view("nothing wrong with the machine".to_owned(), finding.healthy, elsewhere));
    all
}

/// "element open", "element open now and then".
fn name(machine: &Machine, suspect: &Suspect) -> String {
    let one = |(i, &fault): (usize, &(usize, usize))| {
        let says = Hypothesis::of([fault]).says(machine);
        if suspect.sometimes.contains(&i) { format!("{says} now and then") } else { says }
    };
    suspect.faults.faults().iter().enumerate().map(one).collect::<Vec<_>>().join(" and ")
}

fn otherwise(next: &Next) -> Otherwise {
    let says = match &next.action {
        Action::Check(check) => check.says.clone(),
        Action::Mend { says, .. } | Action::HandBack { says, .. } => says.clone(),
    };
    Otherwise {
        says,
        why: format!("{} to the end of the job if done first. {}", words::minutes(next.upper), next.why),
    }
}

fn ask(machine: &Machine, next: &Next, settings: &Settings) -> AskView {
    let base = AskView {
        id: String::new(),
        says: String::new(),
        caution: String::new(),
        with: String::new(),
        dont_have: String::new(),
        run_out: String::new(),
        takes: String::new(),
        points: None,
        field: Field::None,
        question: "",
        codes: machine.codes.iter().map(|c| c.id.clone()).collect(),
        reads: reads(machine, next),
        why: next.why.clone(),
    };
    match &next.action {
        Action::Check(check) => {
            let today = crate::now().date();
            AskView { run_out: run_out(settings, check.instrument, today), ..of_check(machine, check, base) }
        }
        Action::Mend { part, says, minutes, access, caution } => AskView {
            id: format!("mend {}", machine.parts[*part].id),
            says: says.clone(),
            caution: caution.clone(),
            takes: takes(machine, *minutes, access),
            field: Field::Repair,
            ..base
        },
        Action::HandBack { says, minutes, caution } => AskView {
            says: says.clone(),
            caution: caution.clone(),
            takes: takes(machine, *minutes, &[]),
            ..base
        },
    }
}

fn of_check(machine: &Machine, check: &Check, base: AskView) -> AskView {
    let supply = match (check.kind, check.power) {
        (CheckKind::Swap, _) => "machine dead to fit it, then closed up and running",
        (_, Power::Dead) => "machine dead",
        (_, Power::Closed) => "machine closed up and running",
        (_, Power::Live) => "LIVE, for competent persons only",
    };
    let (field, question) = match check.kind {
        CheckKind::Resistance | CheckKind::Insulation => (Field::Ohms, "What does it show?"),
        CheckKind::Observation => (Field::YesNo, ""),
        CheckKind::Swap => (Field::YesNo, "Does the machine work with it?"),
        _ => (Field::Step, "What did it read?"),
    };
    let dont_have = match check.instrument {
        Instrument::None => String::new(),
        other => words::instrument(other).to_owned(),
    };
    AskView {
        id: check.id.clone(),
        says: check.says.clone(),
        caution: check.caution.clone(),
        with: format!("{}; {supply}", words::instrument(check.instrument)),
        dont_have,
        takes: takes(machine, check.minutes, &check.access),
        points: check.between.clone(),
        field,
        question,
        ..base
    }
}

fn takes(machine: &Machine, minutes: f64, access: &[PanelId]) -> String {
    let own = words::minutes(minutes);
    if access.is_empty() { own } else { format!("{own}, and off come: {}", words::panels(machine, access)) }
}

/// What it would read under each suspect, equal readings together, likeliest first.
fn reads(machine: &Machine, next: &Next) -> Vec<ReadsView> {
    let mut groups: Vec<(&str, Vec<String>)> = Vec::new();
    for (case, reading) in &next.reads {
        let name = case.says(machine);
        match groups.iter_mut().find(|g| g.0 == reading) {
            Some(group) => group.1.push(name),
            None => groups.push((reading, vec![name])),
        }
    }
    let view = |(reading, names): (&str, Vec<String>)| {
        let mut who = names.iter().take(NAMED).cloned().collect::<Vec<_>>().join("; ");
        if names.len() > NAMED {
            who.push_str(&format!("; {} more", names.len() - NAMED));
        }
        ReadsView { reading: reading.to_owned(), who }
    };
    groups.into_iter().map(view).collect()
}
