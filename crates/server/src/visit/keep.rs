//! From a form of the visit to the log, and back to the page or the script that sent it.

use crate::desk::Desk;
use crate::problem::{Problem, answered};
use crate::say::may_say;
use crate::visit;
use crate::visit::check::understood;
use crate::visit::closing::may_be_corrected;
use crate::who::Who;
use axum::http::HeaderMap;
use axum::response::Response;
use records::{Job, JobId, NewEntry, Records, Says};
use serde_json::json;
use std::collections::HashMap;
use std::sync::Arc;

/// Longest text of a field, characters; a signature is longer, and bounds itself.
const LONGEST: usize = 2_000;

/// A form's fields.
pub(crate) struct Fields(pub(crate) HashMap<String, String>);

impl Fields {
    /// What was typed; empty where nothing was.
    pub(crate) fn text(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |t| t.trim())
    }

    /// A tick.
    pub(crate) fn ticked(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// All fields whose name begins so, without that beginning; empty ones left out.
    pub(crate) fn beginning<'f>(&'f self, begin: &'f str) -> impl Iterator<Item = (String, String)> + 'f {
        let of = move |(name, text): (&String, &String)| {
            let rest = name.strip_prefix(begin)?;
            let text = text.trim();
            (!text.is_empty()).then(|| (rest.to_owned(), text.to_owned()))
        };
        self.0.iter().filter_map(of)
    }

    /// The entry that is put right or taken back.
    pub(crate) fn supersedes(&self) -> Result<Option<u32>, Problem> {
        match self.text("supersedes") {
            "" => Ok(None),
            number => {
                let number = number.parse();
                number.map(Some).map_err(|_| Problem::refused("no entry has this number", "reload the page"))
            }
        }
    }
}

/// What a form says, each with the entry that it supersedes.
pub(crate) type Said = Vec<(Says, Option<u32>)>;

/// Reads a form and keeps what it says; back to its fold (`#mend`) or page (`/hand-over`).
pub(crate) async fn answer(
    desk: &Arc<Desk>,
    who: &Who,
    headers: &HeaderMap,
    id: JobId,
    fold: &str,
    fields: Fields,
    reads: impl FnOnce(&Job, &Fields) -> Result<Said, Problem>,
) -> Response {
    let kept = async {
        if fields.0.iter().any(|(name, t)| name != "signature" && t.chars().count() > LONGEST) {
            return Err(Problem::refused(format!("this is longer than {LONGEST} characters"), "shorten it"));
        }
        let job = desk.job(id).await?;
        let said = match fields.text("what") {
            "nothing" => vec![(Says::Nothing {}, fields.supersedes()?)],
            _ => reads(&job, &fields)?,
        };
        keep(desk, job, said, fields.text("key"), who).await
    };
    let kept = kept.await.map(|number| json!({ "saved": number }));
    answered(headers, kept, &format!("/jobs/{id}{fold}"))
}

/// Keeps entries, one after the other, each checked against what stands before it.
async fn keep(desk: &Arc<Desk>, mut job: Job, said: Said, key: &str, who: &Who) -> Result<u32, Problem> {
    let machine = desk.machine_of(&job)?;
    let settings = desk.with_records(Records::settings).await?;
    let mut last = 0;
    for (n, (says, supersedes)) in said.into_iter().enumerate() {
        may_say(who, &says, &job, supersedes)?;
        let (at_work, at_machine, at_settings) = (job.clone(), machine.clone(), settings.clone());
        let checked = says.clone();
        desk.work(move || understood(at_machine.as_deref(), &at_work, &at_settings, &checked)).await??;
        may_be_corrected(desk, &job, &says).await?;
        let at = jiff::ZonedDateTime::now();
        let key = match key {
            // The words of a person stand in no key.
            "" => format!("{at} {n}"),
            key => format!("{key} {n}"),
        };
        let entry = NewEntry { says, supersedes, at, key };
        let (id, by) = (job.id, who.user());
        last = desk.with_records(move |r| r.append_by(id, &entry, by)).await?;
        job = desk.job(id).await?;
    }
    // The list of jobs says what comes next without working anything out.
    if let Some(line) = visit::next(&job.log) {
        desk.with_records(move |r| r.keep_derived(job.id, last, &line)).await?;
    }
    Ok(last)
}
