//! `wattmend practise FILE`: a hidden fault; the learner checks, pays minutes, mends, and is told what each step was worth.
//!
//! `wish.rs` understands what the learner types, `answers.rs` has the made-up machine answer, `score.rs` says at the end how it
//! went. Lines in, lines out: a file of answers plays it as well as a person does.

mod answers;
mod score;
mod wish;

use crate::end::{Answer, Done, End, Failure};
use crate::find_cmd::frame;
use crate::load;
use crate::render::Screen;
use crate::render::wrap::wrap;
use answers::{Answered, answer};
use diagnosis::evidence::{Clue, Entry, Evidence, Listener};
use diagnosis::practise::{Best, Coach, Doing, Judgement};
use machine::model::{Machine, PartId};
use report::finding::words;
use simulator::Hidden;
use std::io::{BufRead, IsTerminal, Write};
use std::path::PathBuf;
use wish::{Menu, Wish};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Variant of the model; the file's first where left out
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// The same number hides the same fault; from the clock where left out
    #[arg(long, value_name = "NUMBER")]
    seed: Option<u64>,
    /// A rare fault, one that comes and goes, or two at once
    #[arg(long)]
    hard: bool,
    #[command(flatten)]
    frame: frame::Frame,
}

/// Longest line that is read; the rest of it is dropped.
const LONGEST_LINE: u64 = 400;

const HELP: &str = "Say what to check: a number from the menu, or for instance \"run warm\", \"ohms element.1 element.2\", \
    \"listen pump\". `menu` lists checks, `menu element` those with that word. `fit element` changes a part and tries the \
    machine; `hand back` if nothing is wrong with it; `name element` if you are sure and want to stop there. `hint` says what \
    the best plan does next, `bill` what it has taken so far, `quit` shows the answer.";

/// One thing that was done.
struct Deed {
    /// In words: "Run step warm …".
    says: String,
    /// A repair or handing back, not a check.
    mends: bool,
    /// A part was mended.
    fits: bool,
    /// What came of it, in words.
    showed: String,
    minutes: f64,
    judged: Judgement,
}

/// How it ended.
enum Ending {
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
struct Game<'m> {
    machine: &'m Machine,
    coach: Coach<'m>,
    hidden: Hidden,
    /// What is wrong, before anything was mended.
    truth: bench::Hypothesis,
    menu: Menu,
    start: Best,
    deeds: Vec<Deed>,
    hints: usize,
    columns: usize,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    let setup = arguments.frame.setup(&machine)?;
    let seed = arguments.seed.unwrap_or_else(from_the_clock);
    let hidden = simulator::hidden(&machine, seed, arguments.hard).ok_or_else(|| {
        Failure::asked_wrongly(
            "no fault of this machine shows to its user, so there is nothing to practise on",
            "give its functions in the machine file: docs/machine-file.md",
        )
    })?;
    let said = machine.functions[hidden.complaint].complaints.first().cloned();
    let said = said.unwrap_or_else(|| format!("{} fails", machine.functions[hidden.complaint].name));
    let clue = Clue::Fails(vec![hidden.complaint]);
    let evidence = Evidence {
        entries: vec![Entry { clue, said: said.clone(), at: None, answers: None }],
        ..Evidence::default()
    };
    let mut coach = Coach::new(&machine, evidence, setup)?;
    let start = coach.best()?;
    let menu = Menu { checks: coach.checks() };
    let mut game = Game {
        machine: &machine,
        coach,
        truth: hidden.subject.truth().clone(),
        hidden,
        menu,
        start,
        deeds: Vec::new(),
        hints: 0,
        columns: screen.columns.min(80),
    };
    let mut out = std::io::stdout().lock();
    match game.play(&said, seed, &mut std::io::stdin().lock(), &mut out) {
        Ok(result) => result.map(|()| Done::with(String::new())),
        // The reader left early: no failure.
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Ok(Done::with(String::new())),
        Err(e) => Err(Failure::new(
            End::NotWritten,
            &format!("the terminal cannot be read or written: {e}"),
            "start it in a terminal, or give answers on standard input",
        )),
    }
}

fn from_the_clock() -> u64 {
    std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(1, |t| t.as_millis() as u64 % 1_000_000)
}

/// What failed inside a game: the terminal (outer), or the diagnosis (inner).
type Played<T> = std::io::Result<Result<T, Failure>>;

impl Game<'_> {
    fn play(&mut self, said: &str, seed: u64, input: &mut impl BufRead, out: &mut impl Write) -> Played<()> {
        let plate = &self.machine.plate;
        let name = format!("{} {}, {}. Seed {seed}.", plate.maker, plate.model, plate.kind);
        self.say(out, &name)?;
        self.say(
            out,
            "A made-up machine with a made-up fault: what is learned here is the order of checks, not how a real one fails.",
        )?;
        self.say(out, &format!("The customer says: \"{said}\"."))?;
        self.say(out, HELP)?;
        let echo = !std::io::stdin().is_terminal();
        let ending = loop {
            write!(out, "\n> ")?;
            out.flush()?;
            let Some(line) = read_line(input)? else {
                writeln!(out)?;
                break Ending::Left;
            };
            if echo {
                writeln!(out, "{line}")?;
            }
            let listener = Listener::new(self.machine);
            let ended = match wish::wish(&listener, &self.coach, &self.menu, &line) {
                Wish::Nothing => None,
                Wish::Help => {
                    self.say(out, HELP)?;
                    None
                }
                Wish::Menu(filter) => {
                    let parts = self.machine.parts.iter().filter(|p| p.ends.is_none()).map(|p| p.id.as_str());
                    write!(out, "{}", self.menu.list(&filter, &parts.collect::<Vec<_>>(), self.columns))?;
                    None
                }
                Wish::Unclear(text) => {
                    self.say(out, &text)?;
                    None
                }
                Wish::Bill => {
                    self.say(out, &format!("{} so far.", words::minutes(self.spent())))?;
                    None
                }
                Wish::Hint => {
                    self.hints += 1;
                    match self.coach.judge(&Doing::HandBack) {
                        Ok(judged) => self.say(out, &format!("Best next: {}", judged.instead))?,
                        Err(e) => return Ok(Err(e.into())),
                    }
                    None
                }
                Wish::Quit => Some(Ending::Left),
                Wish::Do(doing) => match self.act(&doing, out)? {
                    Ok(ended) => ended,
                    Err(e) => return Ok(Err(e)),
                },
                Wish::Name(part) => match self.name(part, out)? {
                    Ok(ended) => Some(ended),
                    Err(e) => return Ok(Err(e)),
                },
            };
            if let Some(ending) = ended {
                break ending;
            }
        };
        write!(out, "{}", score::render(self, &ending))?;
        out.flush()?;
        Ok(Ok(()))
    }

    /// Does a step: what could hurt, what to do, what it takes, what it shows.
    fn act(&mut self, doing: &Doing, out: &mut impl Write) -> Played<Option<Ending>> {
        let judged = match self.coach.judge(doing) {
            Ok(judged) => judged,
            Err(e) => return Ok(Err(e.into())),
        };
        let bill = self.coach.bill(doing);
        let (says, caution) = match doing {
            Doing::Check(check) => (check.says.clone(), check.caution.clone()),
            Doing::Mend(part) => self.coach.mend(*part),
            Doing::HandBack => {
                ("Show the customer that the machine works.".to_owned(), diagnosis::check::RUNS.to_owned())
            }
        };
        if !caution.is_empty() {
            write!(out, "{}", wrap("! CAUTION: ", "  ", &caution, self.columns))?;
        }
        self.say(out, &says)?;
        let mut takes = words::minutes(bill.minutes);
        if bill.closes {
            takes.push_str(", closed up first");
        }
        if !bill.opens.is_empty() {
            takes.push_str(&format!(", off come: {}", words::panels(self.machine, &bill.opens)));
        }
        if bill.price > 0.0 {
            takes.push_str(&format!("; part worth {} of work", words::minutes(bill.price)));
        }
        let (showed, entries, ending) = match doing {
            Doing::Check(check) => match answer(self.machine, &mut self.hidden.subject, check) {
                Ok(Answered { says, entries }) => (says, entries, None),
                Err(e) => {
                    self.say(out, &format!("That cannot be done: {e}."))?;
                    return Ok(Ok(None));
                }
            },
            Doing::Mend(part) => {
                let id = &self.machine.parts[*part].id;
                let works = self.hidden.subject.swap(id).unwrap_or(false);
                let says = if works { "the machine works" } else { "it still fails" };
                let clue = Clue::Mended { part: *part, works: Some(works) };
                let entry = Entry {
                    clue,
                    said: format!("{id} mended"),
                    at: None,
                    answers: Some(format!("mend {id}")),
                };
                (says.to_owned(), vec![entry], works.then_some(Ending::Works))
            }
            Doing::HandBack => {
                let works = self.hidden.subject.works();
                let says =
                    if works { "everything works" } else { "the customer calls again: it still fails" };
                (says.to_owned(), Vec::new(), Some(if works { Ending::Works } else { Ending::Wrong }))
            }
        };
        self.coach.done(doing);
        self.coach.learn(entries);
        let mends = !matches!(doing, Doing::Check(_));
        let fits = matches!(doing, Doing::Mend(_));
        self.deeds.push(Deed { says, mends, fits, showed: showed.clone(), minutes: bill.sum(), judged });
        self.say(out, &format!("({takes}; {} so far)", words::minutes(self.spent())))?;
        write!(out, "{}", wrap("= ", "  ", &showed, self.columns))?;
        Ok(Ok(ending))
    }

    /// Names the failed part and stops: the repair is ordered, right or wrong.
    fn name(&mut self, part: PartId, out: &mut impl Write) -> Played<Ending> {
        let doing = Doing::Mend(part);
        let judged = match self.coach.judge(&doing) {
            Ok(judged) => judged,
            Err(e) => return Ok(Err(e.into())),
        };
        let (says, caution) = self.coach.mend(part);
        write!(out, "{}", wrap("! CAUTION: ", "  ", &caution, self.columns))?;
        self.say(out, &says)?;
        let left = self.hidden.subject.truth().faults();
        let right = left.len() == 1 && left[0].0 == part;
        let showed = if right { "that was it" } else { "the customer calls again: it still fails" };
        let minutes = self.coach.bill(&doing).sum();
        self.deeds.push(Deed { says, mends: true, fits: true, showed: showed.to_owned(), minutes, judged });
        write!(out, "{}", wrap("= ", "  ", showed, self.columns))?;
        Ok(Ok(if right { Ending::Named(part) } else { Ending::Wrong }))
    }

    fn spent(&self) -> f64 {
        self.deeds.iter().map(|d| d.minutes).sum()
    }

    fn say(&self, out: &mut impl Write, text: &str) -> std::io::Result<()> {
        write!(out, "{}", wrap("", "", text, self.columns))
    }
}

/// One line without its end; none at the end of the input. What is not text is read as unknown letters.
fn read_line(input: &mut impl BufRead) -> std::io::Result<Option<String>> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    if input.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut bytes)? == 0 {
        return Ok(None);
    }
    // The rest of an endless line is dropped, not kept.
    let mut last = bytes.last().copied();
    while last != Some(b'\n') {
        let mut rest = Vec::new();
        if input.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut rest)? == 0 {
            break;
        }
        last = rest.last().copied();
    }
    let text = String::from_utf8_lossy(&bytes);
    Ok(Some(text.trim().chars().map(crate::render::wrap::printable).collect()))
}
