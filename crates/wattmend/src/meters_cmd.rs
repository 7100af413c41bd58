//! `wattmend meters`: is a meter heard, and is it read right?

use crate::end::{Answer, Done, End, Failure};
use crate::load;
use crate::render::{Screen, diagnostics};
use meters::{Config, Reading, SocketConfig, Tried, try_it};
use quantity::Dimension;
use std::path::{Path, PathBuf};
use std::time::Duration;

#[derive(clap::Subcommand)]
pub(crate) enum Command {
    /// Connect once to each meter of a file, and show its raw messages beside what was read from them
    Try {
        /// The sockets and their meters; docs/meters.md says how to write it
        file: PathBuf,
        /// Try this socket alone
        socket: Option<String>,
        /// How long to listen to each meter
        #[arg(long = "for", value_name = "TIME", default_value = "10 s")]
        limit: String,
    },
}

/// The longest that one meter is listened to, s.
const LONGEST_S: f64 = 3600.0;

/// Runs it.
pub(crate) fn run(command: &Command, screen: &Screen) -> Answer {
    let Command::Try { file, socket, limit } = command;
    let limit = time(limit)?;
    let config = config(file, screen)?;
    let sockets: Vec<&SocketConfig> = match socket {
        None => config.sockets.iter().collect(),
        Some(name) => vec![config.socket(name).ok_or_else(|| no_such_socket(name, &config))?],
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|e| {
        Failure::new(End::NotWritten, &format!("the system gives no event loop: {e}"), "close other programs")
    })?;
    let mut text = String::new();
    let mut all_heard = true;
    for (socket, tried) in sockets.iter().zip(runtime.block_on(side_by_side(&sockets, limit))?) {
        all_heard &= tried.as_ref().is_ok_and(|tried| tried.iter().any(|t| t.reading.is_ok()));
        text.push_str(&told(socket, tried));
    }
    // A blocked read of a file or a name must not hold the program up.
    runtime.shutdown_background();
    Ok(Done { text, end: if all_heard { End::Done } else { End::Unheard } })
}

/// What came of trying a meter.
type Heard = Result<Vec<Tried>, meters::MeterError>;

/// Tries all at the same time, as the bench hears them: many meters take no longer than one.
async fn side_by_side(sockets: &[&SocketConfig], limit: Duration) -> Result<Vec<Heard>, Failure> {
    let one = |socket: &&SocketConfig| {
        let socket = (*socket).clone();
        tokio::spawn(async move { try_it(&socket, limit).await })
    };
    let tasks: Vec<_> = sockets.iter().map(one).collect();
    let mut all = Vec::new();
    for task in tasks {
        all.push(task.await.map_err(|e| Failure::new(End::Bug, &e.to_string(), "report this as a bug"))?);
    }
    Ok(all)
}

fn time(text: &str) -> Result<Duration, Failure> {
    let seconds = quantity::parse(text, Dimension::Time)
        .map_err(|e| Failure::asked_wrongly(&format!("--for: {}", e.message), &e.remedy))?;
    if !(0.1..=LONGEST_S).contains(&seconds) {
        return Err(Failure::asked_wrongly(
            &format!("--for {text} is out of range"),
            "give a time from 0.1 s to 60 min",
        ));
    }
    Ok(Duration::from_secs_f64(seconds))
}

fn config(file: &Path, screen: &Screen) -> Result<Config, Failure> {
    let text = load::sockets(file)?;
    let config = meters::diagnose(&text).map_err(|found| {
        let name = file.display().to_string();
        Failure { text: diagnostics::render_meters(&name, &text, &found, screen), end: End::FileRefused }
    })?;
    Ok(config.in_folder(file.parent().unwrap_or(Path::new(""))))
}

fn no_such_socket(name: &str, config: &Config) -> Failure {
    let names: Vec<&str> = config.sockets.iter().map(|s| s.name.as_str()).collect();
    Failure::asked_wrongly(&format!("no socket is called `{name}`"), &format!("one of: {}", names.join(", ")))
}

fn told(socket: &SocketConfig, tried: Heard) -> String {
    let mut out = format!("{}\n", socket.name);
    match tried {
        Err(error) => {
            out.push_str(&format!("  not heard: {}\n  = to mend: {}\n", error.message, error.remedy));
        }
        Ok(tried) => tried.iter().for_each(|one| message(&mut out, one)),
    }
    out.push('\n');
    out
}

fn message(out: &mut String, tried: &Tried) {
    for line in tried.raw.lines() {
        // Bytes of a wrong baud rate must not reach the terminal as commands.
        let plain: String = line.chars().map(|c| if c.is_control() { '·' } else { c }).collect();
        out.push_str(&format!("  | {plain}\n"));
    }
    match &tried.reading {
        Ok(reading) => out.push_str(&format!("  read: {}\n", in_words(reading))),
        Err(error) => {
            out.push_str(&format!("  no reading: {}\n  = to mend: {}\n", error.message, error.remedy));
        }
    }
    for why in &tried.left_out {
        out.push_str(&format!("  left out: {why}\n"));
    }
}

/// Finely enough to compare with the meter's own display.
fn in_words(reading: &Reading) -> String {
    let plain = [
        (reading.watts, 2, " W"),
        (reading.volts, 1, " V"),
        (reading.amps, 3, " A"),
        (reading.hertz, 2, " Hz"),
        (reading.power_factor, 3, " power factor"),
    ];
    let plain =
        plain.into_iter().filter_map(|(value, digits, unit)| Some(format!("{:.digits$}{unit}", value?)));
    let mut words: Vec<String> = plain.collect();
    words.extend(reading.energy_j.map(|j| quantity::format(j, Dimension::Energy)));
    words.extend(reading.stamped.map(|stamp| format!("by its own clock {stamp}")));
    words.join(", ")
}
