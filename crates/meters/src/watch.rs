//! A socket watched: what was heard, when it counts as lost, and connecting again.

use crate::backoff::Backoff;
use crate::config::SocketConfig;
use crate::reading::patience;
use crate::source::{Heard, session};
use crate::{MeterError, News, Tried};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep, sleep_until, timeout_at};

/// So many pieces of news wait for their reader; beyond that the meter waits.
const HELD: usize = 256;

/// So many messages a session hands on ahead.
const AHEAD: usize = 16;

/// A connection that worked is tried once more after this, before the meter counts as lost.
const ONCE_MORE_AFTER: Duration = Duration::from_millis(100);

/// So many messages show how a meter talks.
const ENOUGH: usize = 5;

/// Watches a socket until the receiver is dropped, and connects again whenever its meter breaks off; never ends by
/// itself. Must be called within a tokio runtime.
///
/// Nothing is dropped: who reads the news slowly makes the meter wait, up to where its own line or broker gives up, and
/// then that is told as [`News::Lost`].
pub fn watch(config: SocketConfig) -> mpsc::Receiver<News> {
    let (out, news) = mpsc::channel(HELD);
    tokio::spawn(run(config, None, out));
    news
}

/// The same for a machine of the simulator that somebody works by hand: it stands switched off, the first press switches it
/// on, and every further one goes on to the next step. Sources that are no simulator have no button to press.
pub fn watch_with_presses(config: SocketConfig) -> (mpsc::Receiver<News>, Presses) {
    let (out, news) = mpsc::channel(HELD);
    let (button, presses) = mpsc::channel(AHEAD);
    tokio::spawn(run(config, Some(presses), out));
    (news, Presses(button))
}

/// The button of a simulated machine. Once it is dropped the machine goes on as it was.
#[derive(Clone, Debug)]
pub struct Presses(mpsc::Sender<()>);

impl Presses {
    /// Presses now; false where the machine is not there, or has not yet taken up the presses before.
    pub fn press(&self) -> bool {
        self.0.try_send(()).is_ok()
    }
}

async fn run(config: SocketConfig, mut presses: Option<mpsc::Receiver<()>>, out: mpsc::Sender<News>) {
    let closed = out.clone();
    tokio::select! {
        () = closed.closed() => {}
        () = attend(&config, presses.as_mut(), Teller::new(&config, out)) => {}
    }
}

/// One session after the other, for as long as somebody listens.
async fn attend(config: &SocketConfig, mut presses: Option<&mut mpsc::Receiver<()>>, mut teller: Teller) {
    let mut backoff = Backoff::new();
    loop {
        let (ear, mut heard) = mpsc::channel(AHEAD);
        let session = session(config, presses.as_deref_mut(), &ear);
        tokio::pin!(session);
        let mut gave_readings = false;
        let why = loop {
            tokio::select! {
                biased;
                Some(heard) = heard.recv() => gave_readings |= teller.hears(heard).await,
                why = &mut session => break why,
                () = sleep_until(teller.deadline()), if !teller.is_lost() => teller.silence().await,
            }
        };
        // What it handed on before it broke off comes first.
        while let Ok(heard) = heard.try_recv() {
            gave_readings |= teller.hears(heard).await;
        }
        if gave_readings {
            // A meter that was there a moment ago often is at once again, after a spoilt answer or a closed connection.
            // If not, the next session says so, or the time since its last reading.
            teller
                .refused(Some(format!("{why}; connected again, and readings in between may be missing")))
                .await;
            backoff.heard();
            sleep(ONCE_MORE_AFTER).await;
        } else {
            teller.lost(why.to_string()).await;
            sleep(backoff.wait()).await;
        }
    }
}

/// Tells the news, each once.
struct Teller {
    out: mpsc::Sender<News>,
    /// A meter that was not heard for so long is lost.
    patience: Duration,
    heard_at: Instant,
    lost: Option<String>,
    refused: Option<String>,
}

impl Teller {
    fn new(config: &SocketConfig, out: mpsc::Sender<News>) -> Teller {
        let patience = patience(config.every);
        Teller { out, patience, heard_at: Instant::now(), lost: None, refused: None }
    }

    fn deadline(&self) -> Instant {
        self.heard_at + self.patience
    }

    fn is_lost(&self) -> bool {
        self.lost.is_some()
    }

    /// True where it was a reading.
    async fn hears(&mut self, heard: Heard) -> bool {
        match heard {
            Heard::Message { read: Ok(taken), .. } => {
                self.lost = None;
                self.refused(taken.left_out.into_iter().next()).await;
                self.tell(News::Reading(taken.reading)).await;
                // Counted from when it could be told: a slow listener is no lost meter.
                self.heard_at = Instant::now();
                true
            }
            Heard::Message { read: Err(error), .. } => {
                self.refused(Some(error.to_string())).await;
                false
            }
            Heard::Part { .. } => false,
            Heard::Gone { why, .. } => {
                self.lost(why.to_string()).await;
                false
            }
            Heard::Pace(pace) => {
                self.patience = patience(pace);
                false
            }
        }
    }

    async fn refused(&mut self, why: Option<String>) {
        if self.refused != why {
            self.refused.clone_from(&why);
            if let Some(why) = why {
                self.tell(News::Refused { why }).await;
            }
        }
    }

    async fn silence(&mut self) {
        let seconds = self.patience.as_secs_f64();
        self.lost(format!(
            "no reading for {seconds:.0} s (is the meter plugged in, on and in reach? If it reports less often, say \
             so with `every`)"
        ))
        .await;
    }

    async fn lost(&mut self, why: String) {
        if self.lost.as_ref() != Some(&why) {
            self.lost = Some(why.clone());
            self.tell(News::Lost { why }).await;
        }
    }

    async fn tell(&self, news: News) {
        // Where nobody listens, `run` ends.
        let _ = self.out.send(news).await;
    }
}

/// Connects once and gives the first messages, each with what was read from it or why nothing, within a time limit. Must
/// be called within a tokio runtime with its timer.
///
/// # Errors
/// Where the meter cannot be reached, or says nothing within the limit.
pub async fn try_it(config: &SocketConfig, limit: Duration) -> Result<Vec<Tried>, MeterError> {
    let end = Instant::now() + limit;
    let (ear, mut heard) = mpsc::channel(AHEAD);
    let session = session(config, None, &ear);
    tokio::pin!(session);
    let mut tried = Vec::new();
    let mut part = None;
    while tried.len() < ENOUGH {
        let next = async {
            tokio::select! {
                biased;
                Some(heard) = heard.recv() => Ok(heard),
                why = &mut session => Err(why),
            }
        };
        match timeout_at(end, next).await {
            Ok(Ok(Heard::Message { raw, read })) => tried.push(as_tried(raw, read)),
            Ok(Ok(Heard::Gone { raw, why })) => tried.push(as_tried(raw, Err(why))),
            Ok(Ok(Heard::Part { raw })) => part = Some(raw),
            Ok(Ok(Heard::Pace(_))) => {}
            Ok(Err(why)) if tried.is_empty() => return Err(why),
            Ok(Err(why)) => {
                tried.push(as_tried(String::new(), Err(why)));
                break;
            }
            Err(_) => break,
        }
    }
    if let Some(raw) = part.filter(|_| tried.is_empty()) {
        let why = "no message with the power came within the time";
        tried.push(as_tried(
            raw,
            Err(MeterError::new(why, "check where the file says that the power stands")),
        ));
    }
    if tried.is_empty() {
        return Err(MeterError::new(
            format!("connected, but no message came within {:.0} s", limit.as_secs_f64()),
            "let the meter measure something, or wait longer if it reports seldom",
        ));
    }
    Ok(tried)
}

fn as_tried(raw: String, read: Result<crate::source::Taken, MeterError>) -> Tried {
    match read {
        Ok(taken) => Tried { raw, reading: Ok(taken.reading), left_out: taken.left_out },
        Err(error) => Tried { raw, reading: Err(error), left_out: Vec::new() },
    }
}
