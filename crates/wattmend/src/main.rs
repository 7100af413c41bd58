//! The command line: reads arguments and files, calls the crates that know, prints what they say.
//!
//! Read in this order: `end.rs` (how a command ends, and its exit code), `load.rs` (from a path to a machine), then one
//! folder a command. Every command is a function from its arguments to an [`Answer`]; only `main` prints and exits.
//! Not here: anything about machines. Rules and their remedies come from `machine` and `bench`.

mod chart_cmd;
mod end;
mod expect_cmd;
mod find_cmd;
mod input;
mod limits;
mod load;
mod machine_cmd;
mod meters_cmd;
mod money;
mod practise_cmd;
mod prove_cmd;
mod quote_cmd;
mod record_cmd;
mod records_cmd;
mod render;
mod serve_cmd;
mod sheets;
mod trace_cmd;
mod worth_cmd;

use clap::{Parser, Subcommand};
use end::{Answer, End, Failure};
use render::Screen;
use std::io::Write;
use std::process::ExitCode;

/// A diagnosis makes many small things and lets go of them on two threads, which the system's allocator is slower at.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// The bench of a domestic-appliance technician.
#[derive(Parser)]
#[command(version, about, after_help = end::EXIT_CODES, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Write, check and read machine files
    #[command(subcommand)]
    Machine(machine_cmd::Command),
    /// What each step of a machine's service test should read, healthy or with a fault
    Expect(expect_cmd::Arguments),
    /// The failed part and the next check, from a complaint, codes, a recording, readings
    Find(Box<find_cmd::Arguments>),
    /// The fault chart for a complaint, to print or to teach with
    Chart(Box<chart_cmd::Arguments>),
    /// Find a hidden fault, and see what the best plan would have taken
    Practise(practise_cmd::Arguments),
    /// What the repair will cost, as a range while several suspects remain
    Quote(Box<quote_cmd::Arguments>),
    /// Repair or replace: what each costs a year over the life that is left
    Worth(Box<worth_cmd::Arguments>),
    /// Electrical safety after the repair, and the machine's own re-test
    Prove(Box<prove_cmd::Arguments>),
    /// What is handed over: the record as PDF, the invoice, a label, a calendar file
    Record(Box<record_cmd::Arguments>),
    /// The bench in the browser: jobs, the service test, the next check
    Serve(serve_cmd::Arguments),
    /// Back up, check, export, erase the records of the bench
    #[command(subcommand)]
    Records(records_cmd::Command),
    /// Try the meters at your sockets
    #[command(subcommand)]
    Meters(meters_cmd::Command),
    /// What a recording of any meter says: heater, drum, spin, supply
    Trace(trace_cmd::Arguments),
}

fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return refuse_arguments(&error),
    };
    let screen = Screen::of_this_terminal();
    let answer = std::panic::catch_unwind(|| run(arguments.command, &screen));
    let end = match answer {
        Ok(Ok(done)) => print(&mut std::io::stdout().lock(), &done.text, done.end),
        Ok(Err(failure)) => print(&mut std::io::stderr().lock(), &failure.text, failure.end),
        Err(_) => {
            let sorry =
                "This is a bug in Wattmend, not in your file. Please report it with the lines above.\n";
            print(&mut std::io::stderr().lock(), sorry, End::Bug)
        }
    };
    ExitCode::from(end.code())
}

fn run(command: Command, screen: &Screen) -> Answer {
    match command {
        Command::Machine(command) => machine_cmd::run(command, screen),
        Command::Expect(arguments) => expect_cmd::run(&arguments, screen),
        Command::Find(arguments) => find_cmd::run(&arguments, screen),
        Command::Chart(arguments) => chart_cmd::run(&arguments, screen),
        Command::Practise(arguments) => practise_cmd::run(&arguments, screen),
        Command::Quote(arguments) => quote_cmd::run(&arguments, screen),
        Command::Worth(arguments) => worth_cmd::run(&arguments, screen),
        Command::Prove(arguments) => prove_cmd::run(&arguments, screen),
        Command::Record(arguments) => record_cmd::run(&arguments, screen),
        Command::Serve(arguments) => serve_cmd::run(&arguments),
        Command::Records(command) => records_cmd::run(&command),
        Command::Meters(command) => meters_cmd::run(&command, screen),
        Command::Trace(arguments) => trace_cmd::run(&arguments, screen),
    }
}

/// Prints and gives the end on; a reader that left early (`wattmend … | head`) is no failure.
fn print(to: &mut impl Write, text: &str, end: End) -> End {
    match to.write_all(text.as_bytes()).and_then(|()| to.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => End::NotWritten,
        _ => end,
    }
}

/// `--help` and `--version` come here too: they are no refusal.
fn refuse_arguments(error: &clap::Error) -> ExitCode {
    let end = if error.use_stderr() { End::WrongUse } else { End::Done };
    // Nothing can be said when the terminal itself has gone.
    let _ = error.print();
    ExitCode::from(end.code())
}

impl From<bench::FaultError> for Failure {
    fn from(error: bench::FaultError) -> Failure {
        Failure::asked_wrongly(&error.message, &error.remedy)
    }
}

impl From<bench::EndError> for Failure {
    fn from(error: bench::EndError) -> Failure {
        Failure::asked_wrongly(&error.message, &error.remedy)
    }
}
