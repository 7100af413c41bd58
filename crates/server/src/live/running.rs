//! The tests that are being followed: each on a thread of its own, for as long as its trace is open.

use super::follow::{Follower, Frame, Place, TestNow};
use super::marks::Taps;
use super::recorded;
use crate::capture::Event;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::setup::setup;
use crate::worked_out::evidence;
use bench::Conditions;
use diagnosis::Find;
use jiff::Timestamp;
use machine::model::Machine;
use records::{Job, JobId, Records, Sample, SocketId, Trace};
use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{broadcast, watch};

/// So many tests are followed at once; a bench has fewer sockets in use.
const AT_ONCE: usize = 16;
/// The whole trace is gone through again this often at most, and never for more than a tenth of the time.
const LOOKS_BACK_EVERY: Duration = Duration::from_millis(1500);
/// The test is over by itself when the trace has said so for so long, s, so surely.
const OVER: (f64, f64) = (10.0, 0.95);
/// Sets of faults, likeliest first, that predictions are made for; of those the follower takes the ones that differ.
const LIKELIEST: usize = 60;

/// All tests that are followed.
#[derive(Default)]
pub(crate) struct Tests(Mutex<HashMap<JobId, Arc<Running>>>);

/// A test that is followed.
pub(crate) struct Running {
    pub(crate) trace: Trace,
    pub(crate) machine: Arc<Machine>,
    now: watch::Receiver<Arc<TestNow>>,
    inbox: mpsc::Sender<In>,
    ended: AtomicBool,
}

/// What the thread is told.
enum In {
    Sample(Sample),
    Taps(Taps),
    End,
}

impl Running {
    /// What is known now.
    pub(crate) fn now(&self) -> Arc<TestNow> {
        self.now.borrow().clone()
    }

    /// Tells of every change.
    pub(crate) fn changes(&self) -> watch::Receiver<Arc<TestNow>> {
        self.now.clone()
    }

    /// Is it still followed?
    pub(crate) fn is_followed(&self) -> bool {
        !self.ended.load(Ordering::Relaxed)
    }

    fn end(&self) {
        self.ended.store(true, Ordering::Relaxed);
        let _ = self.inbox.send(In::End);
    }

    /// A moment of the trace on the clock.
    pub(crate) fn at(&self, time_s: f64) -> Timestamp {
        let after = jiff::SignedDuration::from_micros((time_s * 1e6) as i64);
        self.trace.from.checked_add(after).unwrap_or(self.trace.from)
    }
}

impl Tests {
    /// The test of this job, where it is followed already.
    pub(crate) fn get(&self, job: JobId) -> Option<Arc<Running>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&job).cloned()
    }

    /// The test that is followed on this socket.
    pub(crate) fn on(&self, socket: SocketId) -> Option<Arc<Running>> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.values().find(|r| r.trace.socket == socket).cloned()
    }

    /// Stops following.
    pub(crate) fn end(&self, job: JobId) {
        if let Some(running) = self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&job) {
            running.end();
        }
    }

    /// Stops following this one; another that follows the job by now goes on.
    fn end_this(&self, job: JobId, this: &Arc<Running>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.get(&job).is_some_and(|running| Arc::ptr_eq(running, this)) {
            all.remove(&job);
        }
        this.end();
    }

    /// Refuses where as many tests are followed as can be.
    pub(crate) fn room(&self) -> Result<(), Problem> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() < AT_ONCE { Ok(()) } else { Err(too_many()) }
    }

    /// The test of this job, if a trace of it is open and the machine file has one; followed from the records where nobody
    /// follows it yet.
    pub(crate) async fn of(desk: &Arc<Desk>, job: &Job) -> Result<Option<Arc<Running>>, Problem> {
        if let Some(running) = desk.tests.get(job.id) {
            return Ok(Some(running));
        }
        let id = job.id;
        let traces = desk.with_records(move |r| r.traces_of(id)).await?;
        let Some(trace) = traces.into_iter().filter(|t| t.to.is_none()).max_by_key(|t| t.id) else {
            return Ok(None);
        };
        let machine = desk.machine_of(job)?.filter(|m| !m.test.steps.is_empty());
        let Some(machine) = machine else { return Ok(None) };
        let running = begin(desk, job, trace, machine).await?;
        Ok(Some(running))
    }

    /// Follows the test with the marks and edges as the log has them now.
    pub(crate) fn marked(&self, job: &Job) {
        if let Some(running) = self.get(job.id) {
            let taps = Taps::of_log(&job.log, &running.machine, running.trace.from);
            let _ = running.inbox.send(In::Taps(taps));
        }
    }
}

fn too_many() -> Problem {
    Problem::refused(
        format!("{AT_ONCE} tests are followed already"),
        "end one of them first; the samples of this socket are kept all the same",
    )
}

async fn begin(
    desk: &Arc<Desk>,
    job: &Job,
    trace: Trace,
    machine: Arc<Machine>,
) -> Result<Arc<Running>, Problem> {
    let settings = desk.with_records(Records::settings).await?;
    // First what comes from now on, then what is kept: nothing falls between.
    let (bus, recent) = desk.capture.listen(Some(trace.socket));
    let far = Timestamp::MAX;
    let mut before = desk.with_records(move |r| r.samples(trace.socket, trace.from, far)).await?;
    let last = before.last().map(|s| s.at);
    before.extend(recent.into_iter().filter(|s| s.at >= trace.from && last.is_none_or(|l| s.at > l)));
    let taps = Taps::of_log(&job.log, &machine, trace.from);

    let (inbox, received) = mpsc::channel();
    let (tell, now) = watch::channel(Arc::new(TestNow::default()));
    let running =
        Arc::new(Running { trace, machine: machine.clone(), now, inbox, ended: AtomicBool::new(false) });
    {
        let mut all = desk.tests.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(other) = all.get(&job.id) {
            return Ok(other.clone());
        }
        if all.len() >= AT_ONCE {
            return Err(too_many());
        }
        all.insert(job.id, running.clone());
    }
    let begins = trace.from;
    std::thread::Builder::new()
        .name("live test".to_owned())
        .spawn({
            let job = job.clone();
            // What is likely is worked out there: the page stands meanwhile, and samples wait in the inbox.
            move || {
                let frame = frame(&machine, &job, &settings);
                follow(&machine, frame, taps, &before, begins, &received, &tell);
            }
        })
        .map_err(|e| Problem::ours(format!("the test cannot be followed: {e}")))?;
    tokio::spawn(hand_on(desk.clone(), job.id, running.clone(), bus));
    Ok(running)
}

/// Hands samples on to the thread, and ends the test when the trace says that it is over, or nobody follows any more.
async fn hand_on(desk: Arc<Desk>, job: JobId, running: Arc<Running>, mut bus: broadcast::Receiver<Event>) {
    let mut changes = running.changes();
    loop {
        tokio::select! {
            event = bus.recv() => match event {
                Ok(Event::Sample(id, sample)) if id == running.trace.socket => {
                    if running.inbox.send(In::Sample(sample)).is_err() {
                        break;
                    }
                }
                Ok(_) => {}
                // Too far behind: followed anew from the records by whoever looks next.
                Err(broadcast::error::RecvError::Lagged(_) | broadcast::error::RecvError::Closed) => break,
            },
            changed = changes.changed() => {
                if changed.is_err() {
                    break;
                }
                let now = changes.borrow_and_update().clone();
                if now.place == Place::Over && now.sure >= OVER.1 && now.at_s - now.since_s >= OVER.0 && !now.by_tap {
                    let (trace, end) = (running.trace.id, running.at(now.at_s + 0.001));
                    if desk.with_records(move |r| r.end_trace(trace, end)).await.is_ok() {
                        break;
                    }
                }
            }
        }
    }
    desk.tests.end_this(job, &running);
}

/// The thread: ends when it is told to, or nobody holds the other end.
fn follow(
    machine: &Machine,
    frame: Frame,
    taps: Taps,
    before: &[Sample],
    begins: Timestamp,
    inbox: &mpsc::Receiver<In>,
    tell: &watch::Sender<Arc<TestNow>>,
) {
    let Ok(mut follower) = Follower::new(machine, frame) else { return };
    let sample = |s: &Sample| recorded::sample(s, begins);
    before.iter().filter_map(sample).for_each(|s| follower.push(s));
    follower.tapped(taps);
    follower.look_back();
    let _ = tell.send(Arc::new(follower.now().clone()));
    let mut looked = Instant::now();
    let mut pause = LOOKS_BACK_EVERY;
    let mut news = false;
    loop {
        match inbox.recv_timeout(Duration::from_millis(500)) {
            Ok(In::Sample(new)) => {
                if let Some(new) = sample(&new) {
                    follower.push(new);
                    news = true;
                }
            }
            Ok(In::Taps(taps)) => {
                follower.tapped(taps);
                follower.look_back();
                news = true;
            }
            Err(RecvTimeoutError::Timeout) if !news => continue,
            Err(RecvTimeoutError::Timeout) => {}
            Ok(In::End) | Err(RecvTimeoutError::Disconnected) => return,
        }
        if news && looked.elapsed() >= pause {
            let began = Instant::now();
            follower.look_back();
            (looked, news) = (Instant::now(), false);
            pause = LOOKS_BACK_EVERY.max(began.elapsed() * 10);
        }
        let _ = tell.send(Arc::new(follower.now().clone()));
    }
}

/// What a test is followed with: supply, water, meter, and the sets of faults that the log makes likely; the sound machine alone
/// where the log makes none of any.
fn frame(machine: &Machine, job: &Job, settings: &records::Settings) -> Frame {
    let known = evidence(machine, &job.log).evidence;
    let setup = setup(settings);
    let mut conditions = Conditions::unmeasured(machine.plate.supply_v);
    let mut leading = Vec::new();
    if let Ok(mut find) = Find::new(machine, &known, &setup) {
        conditions.water_l = find.conditions().water_l;
        conditions.meter = find.conditions().meter;
        let beliefs = find.beliefs(&known).map_or(Vec::new(), |b| b.cases);
        let shown = beliefs.into_iter().filter(|(case, p)| case.sometimes.is_empty() && *p > 0.0);
        leading = shown.take(LIKELIEST).map(|(case, p)| (p.ln(), case.faults)).collect();
    }
    Frame { conditions, supply: known.supply, leading }
}

#[cfg(test)]
mod tests {
    use super::{AT_ONCE, Running, TestNow};
    use crate::desk::Desk;
    use axum::body::{Body, to_bytes};
    use axum::http::{Request, header};
    use records::{JobMachine, Trace};
    use std::sync::atomic::AtomicBool;
    use std::sync::{Arc, mpsc};
    use tokio::sync::watch;
    use tower::ServiceExt;

    #[tokio::test]
    async fn where_as_many_tests_are_followed_as_can_be_none_is_left_open() {
        let folder = tempfile::tempdir().unwrap();
        let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
        let file_text = include_str!("../../../../machines/aldermere-tern-81.toml").to_owned();
        let machine = JobMachine { file_text, ..JobMachine::default() };
        let job = desk.records().new_job(&crate::now(), None, Some(&machine)).unwrap();
        let (_meter, news) = tokio::sync::mpsc::channel(1);
        let socket = crate::plug(&desk, "quay 3", news).unwrap();
        let machine = desk.machine_of(&desk.job(job).await.unwrap()).unwrap().unwrap();
        let other = desk.records().socket("quay 4").unwrap();
        let elsewhere = desk.records().new_job(&crate::now(), None, None).unwrap();
        let from = jiff::Timestamp::UNIX_EPOCH;
        let id = desk.records().attach_trace(elsewhere, other, from, None).unwrap();
        for n in 0..AT_ONCE {
            let number = i64::try_from(n).unwrap() + 100;
            let trace = Trace { id, job: number, socket: other, from, to: None };
            let (inbox, (_, now)) = (mpsc::channel().0, watch::channel(Arc::new(TestNow::default())));
            let running =
                Running { trace, machine: machine.clone(), now, inbox, ended: AtomicBool::new(false) };
            desk.tests.0.lock().unwrap().insert(number, Arc::new(running));
        }
        let start = format!("{{\"what\": \"start\", \"socket\": \"{}\"}}", socket.number());
        let request = Request::post(format!("/api/jobs/{job}/trace"))
            .header(header::HOST, "localhost:8423")
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(start))
            .unwrap();
        let routes = crate::routes(desk.clone(), crate::Door::ThisComputer, false);
        let answer = routes.oneshot(request).await.unwrap();
        let body = to_bytes(answer.into_body(), 10_000).await.unwrap();
        assert!(String::from_utf8_lossy(&body).contains("16 tests are followed already"), "{body:?}");
        assert_eq!(desk.records().traces_of(job).unwrap(), []);
    }
}
