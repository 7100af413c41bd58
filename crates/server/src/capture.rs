//! Capture: every configured socket is watched at all times, and what its meter says is kept, whether anyone looks or not.
//!
//! A task for each socket takes the news of its meter; one writer keeps all samples twice a second in one transaction, so that
//! a crash loses at most what came since. Who looks on hears of new samples and states over [`Capture::listen`].
//! Not here: how a meter is heard (`meters`), what samples mean (`live`).

use jiff::Timestamp;
use meters::{News, Presses, Reading, SocketConfig, Source};
use records::{Records, Sample, SocketId};
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{broadcast, mpsc};
use tokio::task::AbortHandle;

/// Samples are kept this often; a crash loses no more.
const KEPT_EVERY: Duration = Duration::from_millis(500);
/// Samples that wait for a disk which refuses; beyond that the oldest go, and the page says so.
const MOST_WAITING: usize = 90_000;
/// Newest samples of a socket that are held for who begins to look.
const RECENT: usize = 128;
/// Events that a slow listener may be behind before it is told to ask the records instead.
const BEHIND: usize = 4096;

/// What a socket's meter is doing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum State {
    /// Watched, not yet heard.
    Waiting,
    /// Heard.
    Heard,
    /// Not heard any more: why, and what to do. Never shown as nothing drawn.
    Lost {
        /// Why.
        why: String,
    },
}

/// Something new at a socket.
#[derive(Clone, Debug)]
pub(crate) enum Event {
    /// Its meter was read.
    Sample(SocketId, Sample),
    /// The state of one is another.
    State,
}

/// A socket, as it stands.
#[derive(Clone, Debug)]
pub(crate) struct Seen {
    pub(crate) id: SocketId,
    pub(crate) name: String,
    pub(crate) state: State,
    /// What was odd about the last message, if it was.
    pub(crate) remark: Option<String>,
    pub(crate) newest: Option<Sample>,
    /// It is made up, so many times as fast as a real machine.
    pub(crate) simulated: Option<f64>,
    /// It has a button that can be pressed from here.
    pub(crate) has_button: bool,
}

/// All sockets.
pub(crate) struct Capture {
    records: Arc<Records>,
    sockets: Mutex<Vec<Watched>>,
    waiting: Mutex<Waiting>,
    bus: broadcast::Sender<Event>,
    /// Somebody keeps samples.
    keeping: AtomicBool,
    /// One writer at a time: what is kept when it returns is all that came before.
    writing: tokio::sync::Mutex<()>,
}

struct Watched {
    seen: Seen,
    config: Option<SocketConfig>,
    recent: VecDeque<Sample>,
    presses: Option<Presses>,
    /// Presses that its machine took.
    pressed: usize,
    task: AbortHandle,
}

/// Samples that are not on the disk yet.
#[derive(Default)]
struct Waiting {
    samples: Vec<(SocketId, Sample)>,
    trouble: Option<String>,
}

fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Capture {
    pub(crate) fn new(records: Arc<Records>) -> Arc<Capture> {
        let (bus, _) = broadcast::channel(BEHIND);
        Arc::new(Capture {
            records,
            sockets: Mutex::default(),
            waiting: Mutex::default(),
            bus,
            keeping: AtomicBool::new(false),
            writing: tokio::sync::Mutex::new(()),
        })
    }

    /// Watches these sockets from now on and no others; those that stay as they were go on. Must be called within a runtime.
    ///
    /// # Errors
    /// Where the records refuse a socket.
    pub(crate) fn watch(self: &Arc<Self>, configs: Vec<SocketConfig>) -> Result<(), records::RecordsError> {
        {
            let mut all = held(&self.sockets);
            let gone = |w: &Watched| w.config.as_ref().is_some_and(|had| !configs.contains(had));
            all.iter().filter(|w| gone(w)).for_each(|w| w.task.abort());
            all.retain(|w| !gone(w));
        }
        for config in configs {
            if held(&self.sockets).iter().any(|w| w.config.as_ref() == Some(&config)) {
                continue;
            }
            let (news, presses) = match &config.source {
                Source::Simulator(_) => {
                    let (news, presses) = meters::watch_with_presses(config.clone());
                    (news, Some(presses))
                }
                _ => (meters::watch(config.clone()), None),
            };
            self.hear(&config.name.clone(), Some(config), news, presses)?;
        }
        Ok(())
    }

    /// Takes news of a socket from elsewhere.
    ///
    /// # Errors
    /// Where the records refuse the socket.
    pub(crate) fn plug(
        self: &Arc<Self>,
        name: &str,
        news: mpsc::Receiver<News>,
    ) -> Result<SocketId, records::RecordsError> {
        self.hear(name, None, news, None)
    }

    fn hear(
        self: &Arc<Self>,
        name: &str,
        config: Option<SocketConfig>,
        news: mpsc::Receiver<News>,
        presses: Option<Presses>,
    ) -> Result<SocketId, records::RecordsError> {
        let id = self.records.socket(name)?;
        let newest = self.records.newest(id)?;
        let simulated = config.as_ref().and_then(|c| match &c.source {
            Source::Simulator(made_up) => Some(made_up.speed),
            _ => None,
        });
        let own_pace =
            config.as_ref().is_some_and(|c| matches!(&c.source, Source::Simulator(_) | Source::Replay(_)));
        let seen = Seen {
            id,
            name: name.to_owned(),
            state: State::Waiting,
            remark: None,
            newest,
            simulated,
            has_button: presses.is_some(),
        };
        let clock = Clock { own_pace, anchor: None, last: newest.map(|s| s.at) };
        let task = tokio::spawn(self.clone().attend(id, news, clock)).abort_handle();
        let mut all = held(&self.sockets);
        if let Some(old) = all.iter().position(|w| w.seen.id == id) {
            all.remove(old).task.abort();
        }
        all.push(Watched { seen, config, recent: VecDeque::new(), presses, pressed: 0, task });
        all.sort_by(|a, b| a.seen.name.cmp(&b.seen.name));
        Ok(id)
    }

    async fn attend(self: Arc<Self>, id: SocketId, mut news: mpsc::Receiver<News>, mut clock: Clock) {
        while let Some(news) = news.recv().await {
            match news {
                News::Reading(reading) => self.read(id, &clock.sample(&reading)),
                News::Refused { why } => self.change(id, |seen| seen.remark = Some(why)),
                News::Lost { why } => self.lost(id, why).await,
            }
        }
        self.lost(id, "nobody listens to this meter any more; reload the page Sockets".to_owned()).await;
    }

    fn read(&self, id: SocketId, sample: &Sample) {
        let mut new_state = false;
        {
            let mut all = held(&self.sockets);
            let Some(watched) = all.iter_mut().find(|w| w.seen.id == id) else { return };
            if watched.seen.state != State::Heard {
                watched.seen.state = State::Heard;
                new_state = true;
            }
            watched.seen.newest = Some(*sample);
            watched.recent.push_back(*sample);
            if watched.recent.len() > RECENT {
                watched.recent.pop_front();
            }
            // Handed on with the sockets held: who begins to look takes each sample from the one or the other, none twice.
            let _ = self.bus.send(Event::Sample(id, *sample));
        }
        held(&self.waiting).samples.push((id, *sample));
        if new_state {
            let _ = self.bus.send(Event::State);
        }
    }

    async fn lost(self: &Arc<Self>, id: SocketId, why: String) {
        let mut since = None;
        self.change(id, |seen| {
            since = seen.newest.map(|s| s.at);
            seen.state = State::Lost { why: why.clone() };
        });
        let capture = self.clone();
        let since = since.unwrap_or_else(Timestamp::now);
        // Where the disk refuses, the state still says it; the gap shows in the samples.
        let _ = tokio::task::spawn_blocking(move || capture.records.keep_gap(id, since, &why)).await;
    }

    fn change(&self, id: SocketId, change: impl FnOnce(&mut Seen)) {
        if let Some(watched) = held(&self.sockets).iter_mut().find(|w| w.seen.id == id) {
            change(&mut watched.seen);
        }
        let _ = self.bus.send(Event::State);
    }

    /// All sockets, by name.
    pub(crate) fn all(&self) -> Vec<Seen> {
        held(&self.sockets).iter().map(|w| w.seen.clone()).collect()
    }

    /// One socket.
    pub(crate) fn socket(&self, id: SocketId) -> Option<Seen> {
        held(&self.sockets).iter().find(|w| w.seen.id == id).map(|w| w.seen.clone())
    }

    /// How a socket was configured.
    pub(crate) fn config(&self, id: SocketId) -> Option<SocketConfig> {
        held(&self.sockets).iter().find(|w| w.seen.id == id).and_then(|w| w.config.clone())
    }

    /// What comes from now on, and the newest samples of one socket from before; those may not be on the disk yet.
    pub(crate) fn listen(&self, id: Option<SocketId>) -> (broadcast::Receiver<Event>, Vec<Sample>) {
        let all = held(&self.sockets);
        let of = |id| all.iter().find(|w| w.seen.id == id).map(|w| w.recent.iter().copied().collect());
        (self.bus.subscribe(), id.and_then(of).unwrap_or_default())
    }

    /// Presses the button of a made-up machine; false where there is none that takes it.
    pub(crate) fn press(&self, id: SocketId) -> bool {
        let mut all = held(&self.sockets);
        let Some(watched) = all.iter_mut().find(|w| w.seen.id == id) else { return false };
        let took = watched.presses.as_ref().is_some_and(Presses::press);
        watched.pressed += usize::from(took);
        took
    }

    /// Presses that a made-up machine took since it stands there.
    pub(crate) fn pressed(&self, id: SocketId) -> usize {
        held(&self.sockets).iter().find(|w| w.seen.id == id).map_or(0, |w| w.pressed)
    }

    /// What keeps samples from the disk, if something does.
    pub(crate) fn trouble(&self) -> Option<String> {
        held(&self.waiting).trouble.clone()
    }

    /// Keeps samples for as long as the program runs; asked for again it is done already.
    pub(crate) async fn keep(self: Arc<Self>) {
        if self.keeping.swap(true, Ordering::Relaxed) {
            return;
        }
        let mut due = tokio::time::interval(KEPT_EVERY);
        due.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        loop {
            due.tick().await;
            self.keep_now().await;
        }
    }

    /// Keeps what waits.
    pub(crate) async fn keep_now(self: &Arc<Self>) {
        let _alone = self.writing.lock().await;
        let waiting = std::mem::take(&mut held(&self.waiting).samples);
        if waiting.is_empty() {
            return;
        }
        let capture = self.clone();
        let kept = tokio::task::spawn_blocking(move || {
            let kept = capture.records.keep_samples(&by_socket(&waiting));
            (waiting, kept)
        });
        let Ok((waiting, kept)) = kept.await else { return };
        let mut now = held(&self.waiting);
        match kept {
            Ok(()) => now.trouble = None,
            Err(e) => {
                let newer = std::mem::replace(&mut now.samples, waiting);
                now.samples.extend(newer);
                let too_many = now.samples.len().saturating_sub(MOST_WAITING);
                now.samples.drain(..too_many);
                now.trouble = Some(e.to_string());
            }
        }
    }
}

fn by_socket(all: &[(SocketId, Sample)]) -> Vec<(SocketId, Vec<Sample>)> {
    let mut sockets: Vec<(SocketId, Vec<Sample>)> = Vec::new();
    for (id, sample) in all {
        match sockets.iter_mut().find(|s| s.0 == *id) {
            Some(socket) => socket.1.push(*sample),
            None => sockets.push((*id, vec![*sample])),
        }
    }
    sockets
}

/// When a reading was taken. A meter's is when it arrived; what is made up or played again goes at its own pace, from its
/// first reading on, and never back behind what is kept already.
struct Clock {
    own_pace: bool,
    /// The time that a stamp is taken for.
    anchor: Option<(Timestamp, Timestamp)>,
    last: Option<Timestamp>,
}

impl Clock {
    fn sample(&mut self, reading: &Reading) -> Sample {
        let at = match reading.stamped.filter(|_| self.own_pace) {
            Some(stamped) => self.paced(stamped, reading.arrived),
            None => reading.arrived,
        };
        // To the microsecond, as the records keep it: a sample is the same wherever it is asked for.
        let at = Timestamp::from_microsecond(at.as_microsecond()).unwrap_or(at);
        self.last = Some(at);
        Sample { at, watts: reading.watts, volts: reading.volts, amps: reading.amps }
    }

    fn paced(&mut self, stamped: Timestamp, arrived: Timestamp) -> Timestamp {
        let at = |anchor: (Timestamp, Timestamp)| anchor.1.checked_add(stamped.duration_since(anchor.0)).ok();
        let paced = self.anchor.and_then(at).filter(|at| self.last.is_none_or(|last| *at > last));
        if let Some(at) = paced {
            return at;
        }
        let second = jiff::SignedDuration::from_secs(1);
        let after = self.last.and_then(|last| last.checked_add(second).ok());
        let start = after.map_or(arrived, |after| after.max(arrived));
        self.anchor = Some((stamped, start));
        start
    }
}
