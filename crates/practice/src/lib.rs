//! Practice: a made-up machine with a hidden fault; the learner checks, pays minutes, mends, and is told what each step was
//! worth. What is learned is the order of checks, not how a real machine fails.
//!
//! [`Game::begin`] hides a fault by a seed, [`Game::propose`] says what a step takes, [`Game::act`] has the machine answer
//! (`answers.rs`), [`Game::score`] says how it went (`score.rs`). The judge is [`diagnosis::practise::Coach`]; it is made again
//! from the game at any time ([`Game::coach`]), so that a game can be kept without it.
//! Not here: what a learner types, how it is shown.

mod answers;
mod score;

pub use score::{Poor, Score};

use answers::{Answered, answer};
use bench::Hypothesis;
use diagnosis::FindError;
use diagnosis::evidence::{Clue, Entry, Evidence};
use diagnosis::practise::{Best, Coach, Doing, Judgement};
use diagnosis::setup::Setup;
use machine::model::{Machine, PartId};
use report::finding::words;
use simulator::{Hidden, SubjectError};

/// What a learner is told first.
pub const MADE_UP: &str = "A made-up machine with a made-up fault: what is learned here is the order of checks, not how a real one fails.";

/// Why no game can begin.
#[derive(Clone, Debug, PartialEq)]
pub enum BeginError {
    /// No fault of this machine shows to its user.
    NothingShows,
    /// The diagnosis refuses the machine.
    Find(FindError),
}

impl From<FindError> for BeginError {
    fn from(e: FindError) -> BeginError {
        BeginError::Find(e)
    }
}

/// A step before it is done.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The step.
    pub doing: Doing,
    /// What to do.
    pub says: String,
    /// What could hurt; stands above what to do. Never empty where the machine is opened or runs.
    pub caution: String,
    /// Minutes, panels, parts, in words.
    pub takes: String,
    /// Minutes, parts counted as minutes of work.
    pub minutes: f64,
    /// What it is worth before it is done.
    pub judged: Judgement,
}

/// A step that was done.
#[derive(Clone, Debug, PartialEq)]
pub struct Deed {
    /// What was done.
    pub proposal: Proposal,
    /// What came of it, in words.
    pub showed: String,
    /// The same as evidence.
    entries: Vec<Entry>,
}

impl Deed {
    /// A repair or handing back, not a check.
    fn mends(&self) -> bool {
        !matches!(self.proposal.doing, Doing::Check(_))
    }
}

/// How a game ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The machine works, by a repair or because nothing was wrong.
    Works,
    /// The part was named rightly.
    Named(PartId),
    /// The wrong part was named, or a faulty machine handed back.
    Wrong,
    /// The learner left.
    Left,
}

/// A game.
pub struct Game {
    hidden: Hidden,
    /// What is wrong, before anything was mended.
    truth: Hypothesis,
    /// What the customer says.
    pub said: String,
    start: Best,
    /// What was done.
    pub deeds: Vec<Deed>,
    /// How often the learner was told the best next step.
    pub hints: usize,
    /// How it ended, if it has.
    pub ended: Option<Ending>,
}

impl Game {
    /// Hides a fault: the same for the same machine, seed and hardness.
    ///
    /// # Errors
    /// Where no fault of the machine shows in a function, or the diagnosis refuses it.
    pub fn begin<'m>(
        machine: &'m Machine,
        seed: u64,
        hard: bool,
        setup: &Setup,
    ) -> Result<(Game, Coach<'m>), BeginError> {
        let hidden = simulator::hidden(machine, seed, hard).ok_or(BeginError::NothingShows)?;
        let function = &machine.functions[hidden.complaint];
        let said = function.complaints.first().cloned().unwrap_or_else(|| format!("{} fails", function.name));
        let mut coach = Coach::new(machine, complaint(hidden.complaint, &said), setup.clone())?;
        let start = coach.best()?;
        let truth = hidden.subject.truth().clone();
        Ok((Game { hidden, truth, said, start, deeds: Vec::new(), hints: 0, ended: None }, coach))
    }

    /// The judge of this game as it stands.
    ///
    /// # Errors
    /// Where the diagnosis refuses the machine.
    pub fn coach<'m>(&self, machine: &'m Machine, setup: &Setup) -> Result<Coach<'m>, FindError> {
        let mut coach = Coach::new(machine, complaint(self.hidden.complaint, &self.said), setup.clone())?;
        for deed in &self.deeds {
            coach.done(&deed.proposal.doing);
            coach.learn(deed.entries.clone());
        }
        Ok(coach)
    }

    /// What a step would take, and what it is worth.
    ///
    /// # Errors
    /// Where the diagnosis refuses what is known by now.
    pub fn propose(
        &self,
        machine: &Machine,
        coach: &mut Coach<'_>,
        doing: Doing,
    ) -> Result<Proposal, FindError> {
        let judged = coach.judge(&doing)?;
        let bill = coach.bill(&doing);
        let (says, caution) = match &doing {
            Doing::Check(check) => (check.says.clone(), check.caution.clone()),
            Doing::Mend(part) => coach.mend(*part),
            Doing::HandBack => {
                ("Show the customer that the machine works.".to_owned(), diagnosis::check::RUNS.to_owned())
            }
        };
        let mut takes = words::minutes(bill.minutes);
        if bill.closes {
            takes.push_str(", closed up first");
        }
        if !bill.opens.is_empty() {
            takes.push_str(&format!(", off come: {}", words::panels(machine, &bill.opens)));
        }
        if bill.price > 0.0 {
            takes.push_str(&format!("; part worth {} of work", words::minutes(bill.price)));
        }
        Ok(Proposal { doing, says, caution, takes, minutes: bill.sum(), judged })
    }

    /// Does it: what came of it is the last of [`Game::deeds`].
    ///
    /// # Errors
    /// Where the machine has no such point or step; nothing was done then.
    pub fn act(
        &mut self,
        machine: &Machine,
        coach: &mut Coach<'_>,
        proposal: Proposal,
    ) -> Result<(), SubjectError> {
        let subject = &mut self.hidden.subject;
        let (showed, entries, ended) = match &proposal.doing {
            Doing::Check(check) => {
                let Answered { says, entries } = answer(machine, subject, check)?;
                (says, entries, None)
            }
            Doing::Mend(part) => {
                let id = &machine.parts[*part].id;
                let works = subject.swap(id).unwrap_or(false);
                let says = if works { "the machine works" } else { "it still fails" };
                let clue = Clue::Mended { part: *part, works: Some(works) };
                let said = format!("{id} mended");
                let entry = Entry { clue, said, at: None, answers: Some(format!("mend {id}")) };
                (says.to_owned(), vec![entry], works.then_some(Ending::Works))
            }
            Doing::HandBack => {
                let works = subject.works();
                let says = if works { "everything works" } else { FAILS };
                (says.to_owned(), Vec::new(), Some(if works { Ending::Works } else { Ending::Wrong }))
            }
        };
        coach.done(&proposal.doing);
        coach.learn(entries.clone());
        self.deeds.push(Deed { proposal, showed, entries });
        self.ended = ended;
        Ok(())
    }

    /// Names the failed part and stops: the repair is ordered, right or wrong. The proposal is to mend it.
    pub fn name(&mut self, part: PartId, proposal: Proposal) {
        let left = self.hidden.subject.truth().faults();
        let right = left.len() == 1 && left[0].0 == part;
        let showed = if right { "that was it" } else { FAILS }.to_owned();
        self.deeds.push(Deed { proposal, showed, entries: Vec::new() });
        self.ended = Some(if right { Ending::Named(part) } else { Ending::Wrong });
    }

    /// Minutes so far, parts counted as minutes of work.
    pub fn spent(&self) -> f64 {
        // From 0 on: the sum of nothing would be -0, and be shown so.
        self.deeds.iter().fold(0.0, |sum, d| sum + d.proposal.minutes)
    }

    /// How it went; who has not come to an end has left.
    pub fn score(&self, machine: &Machine) -> Score {
        score::score(self, machine)
    }
}

/// What a customer says whose machine was not mended.
const FAILS: &str = "the customer calls again: it still fails";

fn complaint(function: usize, said: &str) -> Evidence {
    let clue = Clue::Fails(vec![function]);
    let entry = Entry { clue, said: said.to_owned(), at: None, answers: None };
    Evidence { entries: vec![entry], ..Evidence::default() }
}
