//! Diagnoses that go on. Each has a seat: a thread of its own, in which what was worked out about a machine stays, so that one
//! more answer, or one taken back, costs what is new in it. The few jobs looked at last have one. A seat holds nothing that
//! cannot be worked out again.

use crate::desk::Desk;
use crate::problem::Problem;
use bench::Conditions;
use diagnosis::belief::Beliefs;
use diagnosis::evidence::{Evidence, Recording};
use diagnosis::finding::Finding;
use diagnosis::setup::Setup;
use diagnosis::{Find, FindError};
use machine::model::Machine;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{mpsc, oneshot};

/// Seats at once. Each holds some ten megabytes of predictions.
const AT_ONCE: usize = 2;

/// A diagnosis in its seat.
pub(crate) struct Seated<'m> {
    find: Find<'m>,
    /// What is told of the recording that it goes by; its samples are taken in.
    recording: Option<Recording>,
}

/// A finding with what it goes by.
pub(crate) struct Found {
    pub(crate) finding: Finding,
    /// Without the samples of its recording.
    pub(crate) evidence: Evidence,
    pub(crate) conditions: Conditions,
}

impl Seated<'_> {
    pub(crate) fn finding(&mut self, mut evidence: Evidence) -> Result<Found, FindError> {
        evidence.trace.clone_from(&self.recording);
        let finding = self.find.finding(&evidence)?;
        Ok(Found { finding, evidence, conditions: *self.find.conditions() })
    }

    /// What would be believed after `known` with the entries that `more` has beyond it.
    pub(crate) fn would_believe(&mut self, known: &Evidence, more: &Evidence) -> Result<Beliefs, FindError> {
        self.find.beliefs(known)?;
        self.find.would_believe(more)
    }
}

type Ask = Box<dyn FnOnce(&mut Seated<'_>) + Send>;

/// The way to a seat.
#[derive(Clone)]
pub(crate) struct Seat(mpsc::UnboundedSender<Ask>);

impl Seat {
    /// Asks the diagnosis, in its turn.
    pub(crate) async fn ask<T: Send + 'static>(
        &self,
        desk: &Desk,
        asks: impl FnOnce(&mut Seated<'_>) -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let _turn = desk.turn().await?;
        let (answer, answered) = oneshot::channel();
        // Who no longer listens needs no answer.
        let ask: Ask = Box::new(move |seated| drop(answer.send(asks(seated))));
        let broke_off = || Problem::ours("this could not be worked out");
        self.0.send(ask).map_err(|_| broke_off())?;
        answered.await.map_err(|_| broke_off())
    }
}

/// The seats, the one asked last in front, each by the name of what it goes by.
#[derive(Default)]
pub(crate) struct Seats(Mutex<VecDeque<(String, Seat)>>);

impl Seats {
    /// The seat of this name, where there is one.
    pub(crate) fn of(&self, name: &str) -> Option<Seat> {
        let mut seats = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        seats.retain(|(_, seat)| !seat.0.is_closed());
        let at = seats.iter().position(|s| s.0 == name)?;
        let found = seats.remove(at)?;
        seats.push_front(found);
        seats.front().map(|s| s.1.clone())
    }

    /// Seats a diagnosis under this name, with machine, conditions and recording of this evidence.
    pub(crate) async fn open(
        &self,
        desk: &Desk,
        name: String,
        machine: Arc<Machine>,
        mut evidence: Evidence,
        setup: Setup,
    ) -> Result<Result<Seat, FindError>, Problem> {
        let _turn = desk.turn().await?;
        let (asks, mut asked) = mpsc::unbounded_channel::<Ask>();
        let (begun, begins) = oneshot::channel();
        let seat = move || {
            let find = match Find::new(&machine, &evidence, &setup) {
                Ok(find) => find,
                Err(e) => return drop(begun.send(Err(e))),
            };
            let recording = evidence.trace.take().map(|r| Recording { samples: Vec::new(), ..r });
            drop(evidence);
            let mut seated = Seated { find, recording };
            if begun.send(Ok(())).is_err() {
                return;
            }
            while let Some(ask) = asked.blocking_recv() {
                ask(&mut seated);
            }
        };
        let no_room = |e| Problem::ours(format!("no thread could be had: {e}"));
        std::thread::Builder::new().name("diagnosis".to_owned()).spawn(seat).map_err(no_room)?;
        let begun = begins.await.map_err(|_| Problem::ours("this could not be worked out"))?;
        Ok(begun.map(|()| {
            let seat = Seat(asks);
            let mut seats = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            seats.retain(|(known, _)| *known != name);
            seats.push_front((name, seat.clone()));
            seats.truncate(AT_ONCE);
            seat
        }))
    }
}
