//! What a page hears while it stands open, as server-sent events: new points, the state of the meter, where the test is.
//! A page that was cut off asks the records for what it missed (`range.rs`); nothing is sent twice.

use super::range::ms;
use super::running::{Running, Tests};
use super::view::as_json;
use crate::capture::{self, Seen};
use crate::desk::Desk;
use crate::problem::{ForPrograms, Problem};
use axum::Router;
use axum::extract::{Path, State};
use axum::response::sse::{Event, Sse};
use axum::routing::get;
use futures_util::Stream;
use records::{JobId, Sample, SocketId};
use serde_json::{Value, json};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast::error::TryRecvError;
use tokio::sync::{broadcast, watch};
use tokio::time::{Interval, MissedTickBehavior};

/// Points are gathered for so long; with the way to the screen this stays well under 0.3 s.
const GATHERED: Duration = Duration::from_millis(100);
/// Every so many of these something is sent even if there is nothing new, so that a page knows that it is not cut off.
const BEAT: u32 = 15;
/// The list of sockets is sent this often at most, in the same measure.
const LISTED: u32 = 5;

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/api/sockets", get(async |State(desk): State<Arc<Desk>>| axum::Json(list(&desk))))
        .route("/api/sockets/live", get(async |State(desk): State<Arc<Desk>>| all_sockets(desk)))
        .route(
            "/api/sockets/{id}/live",
            get(async |State(desk): State<Arc<Desk>>, Path(id): Path<i64>| one_socket(desk, id)),
        )
        .route("/api/jobs/{id}/live", get(of_job))
}

/// A socket for programs.
pub(crate) fn socket_json(seen: &Seen) -> Value {
    let (state, why) = match &seen.state {
        capture::State::Waiting => ("waiting", None),
        capture::State::Heard => ("heard", None),
        capture::State::Lost { why } => ("lost", Some(why)),
    };
    // What a lost meter said last is no reading of now.
    let newest = seen.newest.filter(|_| state == "heard");
    json!({
        "id": seen.id.number(), "name": seen.name, "state": state, "why": why, "remark": seen.remark,
        "watts": newest.and_then(|s| s.watts), "volts": newest.and_then(|s| s.volts),
        "amps": newest.and_then(|s| s.amps), "last": seen.newest.map(|s| ms(s.at)),
        "simulated": seen.simulated, "has_button": seen.has_button,
    })
}

fn list(desk: &Desk) -> Value {
    let sockets: Vec<Value> = desk.capture.all().iter().map(socket_json).collect();
    json!({ "sockets": sockets, "trouble": desk.capture.trouble() })
}

type Events = Sse<std::pin::Pin<Box<dyn Stream<Item = Result<Event, Infallible>> + Send>>>;

fn all_sockets(desk: Arc<Desk>) -> Events {
    let ticks = ticks();
    let closing = desk.closing.subscribe();
    let first = (desk, ticks, closing, Value::Null, 0_u32);
    stream(first, |(desk, mut ticks, mut closing, last, mut count)| async move {
        loop {
            if !tick(&mut ticks, &mut closing).await {
                return None;
            }
            count += 1;
            let now = list(&desk);
            if (count.is_multiple_of(LISTED) && now != last) || count.is_multiple_of(BEAT) || last.is_null() {
                return Some((event("sockets", &now), (desk, ticks, closing, now, count)));
            }
        }
    })
}

fn one_socket(desk: Arc<Desk>, id: i64) -> Result<Events, ForPrograms> {
    let id = SocketId::of(id);
    desk.capture.socket(id).ok_or_else(|| Problem::not_there("socket with this number"))?;
    Ok(watched(desk, id, None))
}

async fn of_job(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Events, ForPrograms> {
    let job = desk.job(id).await?;
    let running = Tests::of(&desk, &job).await?.ok_or_else(|| {
        Problem::refused("no trace of this job is open", "start the test on a socket, under Test")
    })?;
    let socket = running.trace.socket;
    Ok(watched(desk, socket, Some(running)))
}

/// What one listener has been told.
struct Ear {
    desk: Arc<Desk>,
    socket: SocketId,
    test: Option<Arc<Running>>,
    bus: broadcast::Receiver<capture::Event>,
    ticks: Interval,
    closing: watch::Receiver<bool>,
    state: Value,
    told: Told,
    due: VecDeque<Event>,
    count: u32,
}

fn watched(desk: Arc<Desk>, socket: SocketId, test: Option<Arc<Running>>) -> Events {
    let (bus, recent) = desk.capture.listen(Some(socket));
    let closing = desk.closing.subscribe();
    let due = VecDeque::from_iter(points(&recent));
    let (state, told) = (Value::Null, Told::default());
    let ear = Ear { desk, socket, test, bus, ticks: ticks(), closing, state, told, due, count: 0 };
    stream(ear, |mut ear| async move {
        while ear.due.is_empty() {
            if !tick(&mut ear.ticks, &mut ear.closing).await {
                return None;
            }
            ear.hear();
        }
        ear.due.pop_front().map(|event| (event, ear))
    })
}

impl Ear {
    /// Gathers what is new since the last time.
    fn hear(&mut self) {
        self.count += 1;
        let mut new: Vec<Sample> = Vec::new();
        loop {
            match self.bus.try_recv() {
                Ok(capture::Event::Sample(id, sample)) if id == self.socket => new.push(sample),
                Ok(_) => {}
                Err(TryRecvError::Lagged(_)) => self.due.push_back(event("missed", &json!({}))),
                Err(TryRecvError::Empty | TryRecvError::Closed) => break,
            }
        }
        self.due.extend(points(&new));
        let state = self.desk.capture.socket(self.socket).map_or(Value::Null, |s| {
            let mut state = socket_json(&s);
            state["trouble"] = json!(self.desk.capture.trouble());
            state
        });
        if state != self.state && (self.count.is_multiple_of(LISTED) || state["state"] != self.state["state"])
        {
            self.due.push_back(event("meter", &state));
            self.state = state;
        }
        self.test();
        if self.count.is_multiple_of(BEAT) {
            self.due.push_back(event("beat", &json!({})));
        }
    }

    /// Where the test is, if that is news.
    fn test(&mut self) {
        let Some(running) = &self.test else { return };
        if !self.count.is_multiple_of(2) && !self.told.test.is_null() {
            return;
        }
        if let Some(news) = self.told.news(as_json(running, &running.now())) {
            self.due.push_back(event("test", &news));
        }
        if !running.is_followed() {
            self.due.push_back(event("ended", &json!({})));
            self.test = None;
        }
    }
}

/// What was told of a test.
#[derive(Default)]
struct Told {
    /// Without its time and its parts.
    test: Value,
    parts: Value,
}

impl Told {
    /// What is news of it: nothing where only the time went on, and the parts only where they are others.
    fn news(&mut self, mut now: Value) -> Option<Value> {
        let keys = now.as_object_mut()?;
        let (at, parts) = (keys.remove("at")?, keys.remove("parts")?);
        let new_parts = parts != self.parts;
        if now == self.test && !new_parts {
            return None;
        }
        self.test = now.clone();
        now["at"] = at;
        if new_parts {
            now["parts"] = parts.clone();
            self.parts = parts;
        }
        Some(now)
    }
}

/// New points, `[time, watts]`, oldest first.
fn points(samples: &[Sample]) -> Option<Event> {
    let points: Vec<Value> = samples.iter().filter_map(|s| Some(json!([ms(s.at), s.watts?]))).collect();
    (!points.is_empty()).then(|| event("points", &json!(points)))
}

fn event(name: &str, data: &Value) -> Event {
    Event::default().event(name).data(data.to_string())
}

fn ticks() -> Interval {
    let mut ticks = tokio::time::interval(GATHERED);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    ticks
}

/// Waits for the next time to look; false when the bench closes.
async fn tick(ticks: &mut Interval, closing: &mut watch::Receiver<bool>) -> bool {
    tokio::select! {
        _ = ticks.tick() => true,
        _ = closing.wait_for(|closing| *closing) => false,
    }
}

fn stream<S: Send + 'static, F>(first: S, next: impl Fn(S) -> F + Send + 'static) -> Events
where
    F: Future<Output = Option<(Event, S)>> + Send + 'static,
{
    let stream = futures_util::stream::unfold((first, next), |(state, next)| async move {
        let (event, state) = next(state).await?;
        Some((Ok(event), (state, next)))
    });
    Sse::new(Box::pin(stream))
}

#[cfg(test)]
mod tests {
    use super::Told;
    use serde_json::json;

    #[test]
    fn of_a_test_only_what_is_new_is_told() {
        let mut told = Told::default();
        let first = json!({ "at": 1, "sure": 0.9, "parts": [{ "step": "warm" }] });
        assert_eq!(told.news(first.clone()), Some(first));
        assert_eq!(told.news(json!({ "at": 2, "sure": 0.9, "parts": [{ "step": "warm" }] })), None);
        let surer = json!({ "at": 3, "sure": 1.0, "parts": [{ "step": "warm" }] });
        assert_eq!(told.news(surer), Some(json!({ "at": 3, "sure": 1.0 })));
        let none = json!({ "at": 4, "sure": 1.0, "parts": [] });
        assert_eq!(told.news(none.clone()), Some(none));
    }
}
