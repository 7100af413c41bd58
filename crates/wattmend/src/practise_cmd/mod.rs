//! `wattmend practise FILE`: a hidden fault; the learner checks, pays minutes, mends, and is told what each step was worth.
//!
//! The game is `practice`'s; `wish.rs` understands what the learner types, `score.rs` prints how it went. Lines in, lines out: a
//! file of answers plays it as well as a person does.

mod score;
mod wish;

use crate::end::{Answer, Done, End, Failure};
use crate::find_cmd::frame;
use crate::load;
use crate::render::Screen;
use crate::render::wrap::wrap;
use diagnosis::evidence::Listener;
use diagnosis::practise::{Coach, Doing};
use machine::model::{Machine, PartId};
use practice::{BeginError, Game, MADE_UP, Proposal};
use report::finding::words;
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

/// A game at the terminal.
struct Table<'m> {
    machine: &'m Machine,
    coach: Coach<'m>,
    game: Game,
    menu: Menu,
    columns: usize,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    let setup = arguments.frame.setup(&machine)?;
    let seed = arguments.seed.unwrap_or_else(from_the_clock);
    let (game, coach) = Game::begin(&machine, seed, arguments.hard, &setup).map_err(|e| match e {
        BeginError::NothingShows => Failure::asked_wrongly(
            "no fault of this machine shows to its user, so there is nothing to practise on",
            "give its functions in the machine file: docs/machine-file.md",
        ),
        BeginError::Find(e) => e.into(),
    })?;
    let menu = Menu { checks: coach.checks() };
    let mut table = Table { machine: &machine, coach, game, menu, columns: screen.columns.min(80) };
    let mut out = std::io::stdout().lock();
    match table.play(seed, &mut std::io::stdin().lock(), &mut out) {
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

impl Table<'_> {
    fn play(&mut self, seed: u64, input: &mut impl BufRead, out: &mut impl Write) -> Played<()> {
        let plate = &self.machine.plate;
        let name = format!("{} {}, {}. Seed {seed}.", plate.maker, plate.model, plate.kind);
        self.say(out, &name)?;
        self.say(out, MADE_UP)?;
        self.say(out, &format!("The customer says: \"{}\".", self.game.said))?;
        self.say(out, HELP)?;
        let echo = !std::io::stdin().is_terminal();
        loop {
            write!(out, "\n> ")?;
            out.flush()?;
            let Some(line) = read_line(input)? else {
                writeln!(out)?;
                break;
            };
            if echo {
                writeln!(out, "{line}")?;
            }
            let listener = Listener::new(self.machine);
            let ended = match wish::wish(&listener, &self.coach, &self.menu, &line) {
                Wish::Nothing => false,
                Wish::Help => {
                    self.say(out, HELP)?;
                    false
                }
                Wish::Menu(filter) => {
                    let parts = self.machine.parts.iter().filter(|p| p.ends.is_none()).map(|p| p.id.as_str());
                    write!(out, "{}", self.menu.list(&filter, &parts.collect::<Vec<_>>(), self.columns))?;
                    false
                }
                Wish::Unclear(text) => {
                    self.say(out, &text)?;
                    false
                }
                Wish::Bill => {
                    self.say(out, &format!("{} so far.", words::minutes(self.game.spent())))?;
                    false
                }
                Wish::Hint => {
                    self.game.hints += 1;
                    match self.coach.judge(&Doing::HandBack) {
                        Ok(judged) => self.say(out, &format!("Best next: {}", judged.instead))?,
                        Err(e) => return Ok(Err(e.into())),
                    }
                    false
                }
                Wish::Quit => true,
                Wish::Do(doing) => match self.act(doing, out)? {
                    Ok(()) => self.game.ended.is_some(),
                    Err(e) => return Ok(Err(e)),
                },
                Wish::Name(part) => match self.name(part, out)? {
                    Ok(()) => true,
                    Err(e) => return Ok(Err(e)),
                },
            };
            if ended {
                break;
            }
        }
        write!(out, "{}", score::render(&self.game.score(self.machine), self.columns))?;
        out.flush()?;
        Ok(Ok(()))
    }

    /// Does a step: what could hurt, what to do, what it takes, what it shows.
    fn act(&mut self, doing: Doing, out: &mut impl Write) -> Played<()> {
        let proposal = match self.propose(doing, out)? {
            Ok(proposal) => proposal,
            Err(e) => return Ok(Err(e)),
        };
        let takes = proposal.takes.clone();
        if let Err(e) = self.game.act(self.machine, &mut self.coach, proposal) {
            self.say(out, &format!("That cannot be done: {e}."))?;
            return Ok(Ok(()));
        }
        self.say(out, &format!("({takes}; {} so far)", words::minutes(self.game.spent())))?;
        self.showed(out).map(Ok)
    }

    /// Names the failed part and stops.
    fn name(&mut self, part: PartId, out: &mut impl Write) -> Played<()> {
        let proposal = match self.propose(Doing::Mend(part), out)? {
            Ok(proposal) => proposal,
            Err(e) => return Ok(Err(e)),
        };
        self.game.name(part, proposal);
        self.showed(out).map(Ok)
    }

    /// What could hurt and what to do.
    fn propose(&mut self, doing: Doing, out: &mut impl Write) -> Played<Proposal> {
        let proposal = match self.game.propose(self.machine, &mut self.coach, doing) {
            Ok(proposal) => proposal,
            Err(e) => return Ok(Err(e.into())),
        };
        if !proposal.caution.is_empty() {
            write!(out, "{}", wrap("! CAUTION: ", "  ", &proposal.caution, self.columns))?;
        }
        self.say(out, &proposal.says)?;
        Ok(Ok(proposal))
    }

    fn showed(&self, out: &mut impl Write) -> std::io::Result<()> {
        let showed = self.game.deeds.last().map_or("", |d| d.showed.as_str());
        write!(out, "{}", wrap("= ", "  ", showed, self.columns))
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
