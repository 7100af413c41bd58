//! How often a whole diagnosis is right, on machines that are made up.
//!
//! Every case is one job: a customer's complaint, the service test (typed watts, or a recording), the checks that the
//! diagnosis asks for, repairs until the machine works. The simulator stands in for the machine. It shares its physics
//! with the diagnosis, so a good figure here certifies nothing; a bad one shows a mistake.
//!
//! Read in this order: `case.rs` (what is drawn), `technician.rs` (what is done and said), `job.rs` (from the complaint to
//! the working machine), `rules.rs` (what other rules would cost), `score.rs` (figures), `table.rs` (the tables).

mod alike;
mod case;
mod dice;
mod job;
mod rules;
mod score;
mod technician;

use case::{Case, Draw, Way, World};
use diagnosis::check::Instrument;
use diagnosis::hypotheses::Limits;
use diagnosis::plan::Effort;
use diagnosis::setup::Setup;
use job::{Outcome, run};
use machine::model::Machine;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What is asked for on the command line.
struct Wanted {
    cases: usize,
    seed: u64,
    machines: String,
    draws: Vec<Draw>,
    ways: Vec<Way>,
    world: World,
    only: Option<u64>,
    states: usize,
    /// Most sets of faults that the search looks at.
    sets: usize,
    failures: bool,
    /// Leave out the comparison of plans, which takes longest.
    quick: bool,
    threads: usize,
}

const HELP: &str = "accuracy [--cases N] [--seed N] [--machine WORD] [--draw rate|uniform|double|healthy] \
[--way typed|recording] [--only SEED] [--states N] [--sets N] [--threads N] [--failures] [--quick] [--rough]
Run it in the root of the repository. N cases of each kind, machine and meter; every case has its own seed.";

fn wanted() -> Result<Wanted, String> {
    let mut w = Wanted {
        cases: 20,
        seed: 1,
        machines: String::new(),
        draws: Draw::ALL.to_vec(),
        ways: Way::ALL.to_vec(),
        world: World::Usual,
        only: None,
        states: 20_000,
        sets: Limits::default().sets,
        failures: false,
        quick: false,
        threads: 1,
    };
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        if arg == "--failures" {
            w.failures = true;
            continue;
        }
        if arg == "--rough" {
            w.world = World::Rough;
            continue;
        }
        if arg == "--quick" {
            w.quick = true;
            continue;
        }
        let value = args.next().ok_or_else(|| HELP.to_owned())?;
        let number = || value.parse::<u64>().map_err(|_| format!("{arg} takes a number"));
        match arg.as_str() {
            "--cases" => w.cases = number()? as usize,
            "--seed" => w.seed = number()?,
            "--only" => w.only = Some(number()?),
            "--states" => w.states = number()? as usize,
            "--sets" => w.sets = number()? as usize,
            "--threads" => w.threads = (number()? as usize).max(1),
            "--machine" => w.machines = value,
            "--draw" => {
                w.draws = vec![match value.as_str() {
                    "rate" => Draw::ByRate,
                    "uniform" => Draw::Uniform,
                    "double" => Draw::Double,
                    "healthy" => Draw::Healthy,
                    _ => return Err(HELP.to_owned()),
                }];
            }
            "--way" => w.ways = vec![if value == "typed" { Way::Typed } else { Way::Logged }],
            _ => return Err(HELP.to_owned()),
        }
    }
    Ok(w)
}

/// A case to run.
struct Task {
    machine: usize,
    draw: Draw,
    way: Way,
    seed: u64,
    /// Hold the plan against other rules too.
    plans: bool,
}

/// The plan is held against other rules in one case out of so many: that takes longer than all the rest.
const PLANS_EACH: usize = 4;

fn setup(way: Way, wanted: &Wanted) -> Setup {
    let limits = Limits { sets: wanted.sets, likelihoods: wanted.sets / 3 * 4, ..Limits::default() };
    let effort = Effort { states: wanted.states, ..Effort::default() };
    let mut setup = Setup { effort, limits, ..Setup::default() };
    if way == Way::Logged
        && let Some(meter) = setup.instruments.iter_mut().find(|i| i.instrument == Instrument::PowerMeter)
    {
        (meter.relative, meter.absolute) = (0.015, 2.0);
    }
    setup
}

fn machines(containing: &str) -> Result<Vec<(String, Machine)>, String> {
    let folder = std::fs::read_dir("machines")
        .map_err(|e| format!("machines: {e}; run it in the root of the repository"))?;
    let mut files: Vec<_> = folder.filter_map(|f| Some(f.ok()?.path())).collect();
    files.sort();
    let mut all = Vec::new();
    for file in files {
        let name = file.file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned());
        if file.extension().is_none_or(|e| e != "toml") || !name.contains(containing) {
            continue;
        }
        let text = std::fs::read_to_string(&file).map_err(|e| format!("{}: {e}", file.display()))?;
        let machine = machine::read::read(&text, None).machine;
        all.push((name, machine.ok_or_else(|| format!("{}: not a good machine file", file.display()))?));
    }
    Ok(all)
}

fn tasks(wanted: &Wanted, machines: &[(String, Machine)]) -> Vec<Task> {
    let mut all = Vec::new();
    for machine in 0..machines.len() {
        for &draw in &wanted.draws {
            for &way in &wanted.ways {
                for n in 0..wanted.cases {
                    let mix = (machine as u64) << 30 | (draw as u64) << 26 | (way as u64) << 24 | n as u64;
                    let seed = (wanted.seed << 34).wrapping_add(mix);
                    if wanted.only.is_none_or(|only| only == seed) {
                        all.push(Task {
                            machine,
                            draw,
                            way,
                            seed,
                            plans: !wanted.quick && n % PLANS_EACH == 0,
                        });
                    }
                }
            }
        }
    }
    all
}

/// A task with its case's outcome; none where no fault could be drawn or nothing could be said.
pub(crate) struct Done {
    pub(crate) machine: String,
    pub(crate) draw: Draw,
    pub(crate) way: Way,
    pub(crate) seed: u64,
    pub(crate) truth: String,
    pub(crate) outcome: Outcome,
}

fn main() -> ExitCode {
    match work() {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("{message}");
            ExitCode::FAILURE
        }
    }
}

/// What came of one task: nothing where the machine complains of nothing.
type OfOne = Result<Option<Done>, String>;

fn work() -> Result<(), String> {
    let wanted = wanted()?;
    let machines = machines(&wanted.machines)?;
    let tasks = tasks(&wanted, &machines);
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, OfOne)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..wanted.threads {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(task) = tasks.get(at) else { break };
                    let result = one(task, &machines, &wanted);
                    if let Ok(Some(d)) = &result {
                        eprintln!("{}", score::line(d));
                    }
                    if let Ok(mut done) = done.lock() {
                        done.push((at, result));
                    }
                }
            });
        }
    });
    let mut done = done.into_inner().map_err(|e| e.to_string())?;
    done.sort_by_key(|d| d.0);
    let mut all = Vec::new();
    for (at, result) in done {
        match result {
            Ok(Some(d)) => all.push(d),
            Ok(None) => {}
            Err(e) => eprintln!("case {}: {e}", tasks[at].seed),
        }
    }
    if wanted.failures || wanted.only.is_some() {
        score::failures(&all, wanted.only.is_some());
    }
    score::print(&all);
    Ok(())
}

fn one(task: &Task, machines: &[(String, Machine)], wanted: &Wanted) -> Result<Option<Done>, String> {
    let (name, machine) = &machines[task.machine];
    let Some(case) = Case::draw(machine, task.draw, task.way, wanted.world, task.seed) else {
        return Ok(None);
    };
    let outcome = run(machine, &case, &setup(task.way, wanted), task.plans).map_err(|e| e.to_string())?;
    let often =
        case.setting.intermittent.map_or(String::new(), |s| format!(" ({:.0} % of the time)", 100.0 * s));
    Ok(Some(Done {
        machine: name.clone(),
        draw: task.draw,
        way: task.way,
        seed: task.seed,
        truth: format!("{}{often}", case.truth.says(machine)),
        outcome,
    }))
}
