//! Practise: the game of the hidden fault. The address holds the whole game: machine, seed and moves; the same address always
//! gives the same page. What was played last is kept in memory, so that a move costs only itself.

use super::layout::{Layout, in_address, page};
use super::new_job::{Choice, choices};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::setup::setup;
use askama::Template;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use diagnosis::check::{Check, CheckKind};
use diagnosis::evidence::{Asked, Listener};
use diagnosis::practise::{Coach, Doing};
use diagnosis::setup::Setup;
use machine::model::{Machine, PartId};
use practice::{BeginError, Game, MADE_UP, Score};
use records::Records;
use report::finding::words;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// Most moves of a game.
const MOST_MOVES: usize = 60;
/// Longest move, characters.
const LONGEST_MOVE: usize = 200;
/// Games that are kept.
const KEPT: usize = 8;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/practise", get(which)).route("/practise/{file}", get(play))
}

#[derive(Template)]
#[template(path = "practise_which.html")]
struct Which {
    layout: Layout,
    machines: Vec<Choice>,
}

async fn which(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let shared = desk.clone();
    let machines = desk.work(move || choices(&shared)).await?;
    page(&Which { layout: Layout::of(&desk, "Practise", ""), machines })
}

/// What the address says.
#[derive(Clone, Debug, Default)]
struct Address {
    seed: Option<u64>,
    hard: bool,
    moves: Vec<String>,
}

impl Address {
    fn of(query: Vec<(String, String)>) -> Result<Address, Problem> {
        let mut address = Address::default();
        let (mut a, mut b) = (String::new(), String::new());
        for (key, value) in query {
            let value = value.trim();
            match key.as_str() {
                "seed" if !value.is_empty() => {
                    address.seed = Some(value.parse().map_err(|_| {
                        Problem::refused(format!("`{value}` is no seed"), "give a whole number from 0 on")
                    })?);
                }
                "hard" => address.hard = true,
                "m" if !value.is_empty() => address.moves.push(value.to_owned()),
                "a" => value.clone_into(&mut a),
                "b" => value.clone_into(&mut b),
                _ => {}
            }
        }
        if !a.is_empty() && !b.is_empty() {
            address.moves.push(format!("ohms {a} {b}"));
        }
        if address.moves.len() > MOST_MOVES || address.moves.iter().any(|m| m.chars().count() > LONGEST_MOVE)
        {
            return Err(Problem::refused(
                format!("a game has {MOST_MOVES} moves at most"),
                "stop, look at the score, and begin another",
            ));
        }
        Ok(address)
    }
}

/// A number that differs from one game to the next.
fn from_the_clock() -> u64 {
    jiff::Timestamp::now().as_millisecond().unsigned_abs() % 1_000_000
}

/// One move and what came of it.
#[derive(Clone)]
struct Line {
    caution: String,
    says: String,
    showed: String,
    takes: String,
}

/// A game as far as it was played.
struct Played {
    game: Game,
    lines: Vec<Line>,
    /// The learner stopped.
    stopped: bool,
}

/// Games as far as they were played, newest first, by machine, settings, seed and moves.
#[derive(Default)]
pub(crate) struct Games(Mutex<VecDeque<(Key, Played)>>);

#[derive(Clone, PartialEq, Eq)]
struct Key {
    /// Machine file and settings.
    from: String,
    seed: u64,
    hard: bool,
    moves: Vec<String>,
}

impl Games {
    /// The game that has come furthest on the way to this one, taken out.
    fn take(&self, key: &Key) -> Option<(Key, Played)> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let leads_there = |k: &Key| {
            k.from == key.from && k.seed == key.seed && k.hard == key.hard && key.moves.starts_with(&k.moves)
        };
        let fitting = all.iter().enumerate().filter(|(_, (k, _))| leads_there(k));
        let at = fitting.max_by_key(|(_, (k, _))| k.moves.len()).map(|(at, _)| at)?;
        all.remove(at)
    }

    fn keep(&self, key: Key, played: Played) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|(k, _)| *k != key);
        all.push_front((key, played));
        all.truncate(KEPT);
    }
}

#[derive(Template)]
#[template(path = "practise.html")]
struct Page {
    layout: Layout,
    file: String,
    name: String,
    seed: u64,
    hard: bool,
    moves: Vec<String>,
    made_up: &'static str,
    said: String,
    lines: Vec<Line>,
    spent: String,
    groups: Vec<Group>,
    parts: Vec<String>,
    score: Option<Score>,
    another: u64,
}

/// Checks under one heading.
struct Group {
    name: String,
    open: bool,
    checks: Vec<(String, String)>,
}

async fn play(
    State(desk): State<Arc<Desk>>,
    Path(file): Path<String>,
    Query(query): Query<Vec<(String, String)>>,
) -> Result<Response, Problem> {
    let address = Address::of(query)?;
    let Some(seed) = address.seed else {
        let hard = if address.hard { "&hard=on" } else { "" };
        let file = in_address(&file);
        return Ok(Redirect::to(&format!("/practise/{file}?seed={}{hard}", from_the_clock())).into_response());
    };
    let (found, machine) = desk.library.usable(&file)?;
    let settings = desk.with_records(Records::settings).await?;
    let setup = setup(&settings);
    let key = Key {
        from: format!("{setup:?}\n{}", found.text),
        seed,
        hard: address.hard,
        moves: address.moves.clone(),
    };
    let shared = desk.clone();
    let (view, score) = desk
        .work(move || {
            let (played, menu) = played(&shared.pages.games, &machine, &setup, &key)?;
            let over = played.stopped || played.game.ended.is_some();
            let score = over.then(|| played.game.score(&machine));
            let view = Page {
                layout: Layout::of(&shared, "Practise", ""),
                name: format!("{} {}", machine.plate.maker, machine.plate.model),
                file,
                seed,
                hard: key.hard,
                moves: key.moves.clone(),
                made_up: MADE_UP,
                said: played.game.said.clone(),
                lines: played.lines.clone(),
                spent: words::minutes(played.game.spent()),
                groups: if over { Vec::new() } else { groups(&machine, &menu) },
                parts: named(&machine).map(|p| machine.parts[p].id.clone()).collect(),
                score: None,
                another: seed.wrapping_add(1),
            };
            shared.pages.games.keep(key, played);
            Ok::<_, Problem>((view, score))
        })
        .await??;
    page(&Page { score, ..view })
}

/// Plays from where it was kept to where the address says; and what can be checked.
fn played(
    games: &Games,
    machine: &Machine,
    setup: &Setup,
    key: &Key,
) -> Result<(Played, Vec<Check>), Problem> {
    let refused = |e: diagnosis::FindError| {
        Problem::refused(format!("this game cannot go on: {e}"), "begin another, with another seed")
    };
    let (done, mut played, mut coach) = if let Some((kept, played)) = games.take(key) {
        let coach = played.game.coach(machine, setup).map_err(refused)?;
        (kept.moves.len(), played, coach)
    } else {
        let (game, coach) = Game::begin(machine, key.seed, key.hard, setup).map_err(|e| match e {
            BeginError::NothingShows => Problem::refused(
                "no fault of this machine shows to its user, so there is nothing to practise on",
                "give its functions in the machine file, or choose another machine",
            ),
            BeginError::Find(e) => refused(e),
        })?;
        (0, Played { game, lines: Vec::new(), stopped: false }, coach)
    };
    for said in &key.moves[done..] {
        if played.stopped || played.game.ended.is_some() {
            break;
        }
        let line = one(&mut played, machine, &mut coach, said).map_err(refused)?;
        played.lines.extend(line);
    }
    Ok((played, coach.checks()))
}

/// One move.
fn one(
    played: &mut Played,
    machine: &Machine,
    coach: &mut Coach<'_>,
    said: &str,
) -> Result<Option<Line>, diagnosis::FindError> {
    let note = |showed: String| {
        Ok(Some(Line { caution: String::new(), says: said.to_owned(), showed, takes: String::new() }))
    };
    let part = |id: &str| machine.parts.iter().position(|p| p.id == id);
    let doing = match said.split_once(' ') {
        None if said == "stop" => {
            played.stopped = true;
            return Ok(None);
        }
        None if said == "hint" => {
            played.game.hints += 1;
            let best = coach.judge(&Doing::HandBack)?.instead;
            return Ok(Some(Line {
                caution: String::new(),
                says: "What would the best plan do next?".to_owned(),
                showed: best,
                takes: "a hint".to_owned(),
            }));
        }
        Some(("hand", "back")) => Doing::HandBack,
        Some(("mend" | "name", id)) => match part(id) {
            Some(part) => Doing::Mend(part),
            None => return note(format!("this machine has no part {id}")),
        },
        _ => match check(machine, coach, said) {
            Ok(check) => Doing::Check(check),
            Err(why) => return note(why),
        },
    };
    let proposal = played.game.propose(machine, coach, doing)?;
    let (caution, says, takes) = (proposal.caution.clone(), proposal.says.clone(), proposal.takes.clone());
    match (&proposal.doing, said.starts_with("name ")) {
        (&Doing::Mend(part), true) => played.game.name(part, proposal),
        _ => {
            if let Err(e) = played.game.act(machine, coach, proposal) {
                return Ok(Some(Line {
                    caution,
                    says,
                    showed: format!("That cannot be done: {e}."),
                    takes: String::new(),
                }));
            }
        }
    }
    let showed = played.game.deeds.last().map_or(String::new(), |d| d.showed.clone());
    Ok(Some(Line { caution, says, showed, takes }))
}

/// The check with this id, or why there is none.
fn check(machine: &Machine, coach: &Coach<'_>, id: &str) -> Result<Check, String> {
    let listener = Listener::new(machine);
    let asked: Asked = listener.asked(id).map_err(|e| format!("{}: {}", e.message, e.remedy))?;
    coach
        .check(&asked, id)
        .ok_or_else(|| "That needs an instrument that you do not own (Settings), or live work.".to_owned())
}

fn named(machine: &Machine) -> impl Iterator<Item = PartId> {
    (0..machine.parts.len()).filter(|&p| machine.parts[p].ends.is_none())
}

/// All that can be checked: what runs, what is looked at, then ohms by part.
fn groups(machine: &Machine, checks: &[Check]) -> Vec<Group> {
    let one = |c: &Check| (c.id.clone(), format!("{} ({})", c.says, words::minutes(c.minutes)));
    let of = |name: &str, open: bool, fits: &dyn Fn(&Check) -> bool| Group {
        name: name.to_owned(),
        open,
        checks: checks.iter().filter(|c| fits(c)).map(one).collect(),
    };
    let mut all = vec![
        of("Run a step of the service test", true, &|c| c.kind == CheckKind::Rerun),
        of("Look, listen, turn by hand", false, &|c| c.kind == CheckKind::Observation),
    ];
    let measured = |c: &Check| c.between.is_some();
    for part in named(machine) {
        let id = &machine.parts[part].id;
        let at_part = |c: &Check| {
            let [a, b] = c.between.as_ref()?;
            let of = |point: &str| point.split_once('.').is_some_and(|(p, _)| p == id);
            (of(a) || of(b)).then_some(())
        };
        all.push(of(&format!("Measure at {id}"), false, &|c| at_part(c).is_some()));
    }
    let known: Vec<&str> = named(machine).map(|p| machine.parts[p].id.as_str()).collect();
    let elsewhere = |c: &Check| {
        measured(c)
            && c.between.as_ref().is_some_and(|ends| {
                ends.iter().all(|e| e.split_once('.').is_none_or(|(p, _)| !known.contains(&p)))
            })
    };
    all.push(of("Measure elsewhere", false, &elsewhere));
    all.retain(|g| !g.checks.is_empty());
    all
}
