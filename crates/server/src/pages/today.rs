//! Today: the open jobs by what they need next.

use super::layout::{Layout, page, short_time};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::worked_out::worked_out;
use askama::Template;
use axum::Router;
use axum::extract::{Query, State};
use axum::response::Response;
use axum::routing::get;
use records::JobLine;
use serde::Deserialize;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/", get(today))
}

#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    find: String,
}

#[derive(Template)]
#[template(path = "today.html")]
struct Today {
    layout: Layout,
    asked: String,
    groups: Vec<Group>,
}

struct Group {
    name: &'static str,
    jobs: Vec<Line>,
}

struct Line {
    job: JobLine,
    opened: String,
    next: String,
}

/// What a job needs next, soonest to be finished first.
const NEEDS: [&str; 4] =
    ["Sure: mend, prove or hand back", "Next check is waiting", "Test or measure", "Say what it is"];

/// Most jobs that are listed as handed over, where nobody looks for one.
const DONE: usize = 8;

/// How the line of a job begins that is past finding.
const AFTER_FIND: [&str; 5] = ["Sure:", "Agreed:", "Declined:", "Mended:", "Signed off:"];

/// Most jobs that are worked out ahead.
const AHEAD: usize = 8;

fn need(job: &JobLine) -> usize {
    match &job.derived {
        Some(says) if AFTER_FIND.iter().any(|begin| says.starts_with(begin)) => 0,
        _ if !job.has_file => 3,
        _ if job.readings > 0 => 1,
        _ => 2,
    }
}

async fn today(State(desk): State<Arc<Desk>>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let search = asked.find.clone();
    let most = if search.trim().is_empty() { DONE } else { usize::MAX };
    let (jobs, done) =
        desk.with_records(move |r| Ok((r.jobs(&search)?, r.jobs_handed_over(&search)?))).await?;
    let mut groups: Vec<Group> = NEEDS.iter().map(|name| Group { name, jobs: Vec::new() }).collect();
    for job in jobs {
        let need = need(&job);
        let next = match (&job.derived, need) {
            (Some(says), 0 | 1) => says.clone(),
            (_, 3) if job.machine.is_empty() => "Which machine is it?".to_owned(),
            (_, 3) => "It has no machine file yet".to_owned(),
            (_, 2) => "Run the service test, or take a first reading".to_owned(),
            _ => "Open it to see the next check".to_owned(),
        };
        groups[need].jobs.push(Line { opened: short_time(&job.opened), next, job });
    }
    let behind = groups[1].jobs.iter().filter(|l| l.job.derived.is_none()).take(AHEAD);
    for id in behind.map(|l| l.job.id) {
        // Nobody waits for it: it stands in the list the next time, and the sheet opens at once.
        let desk = desk.clone();
        tokio::spawn(async move {
            if let Ok(job) = desk.job(id).await {
                let _ = worked_out(&desk, &job).await;
            }
        });
    }
    let over = |job: JobLine| Line {
        opened: short_time(&job.opened),
        next: format!("✓ Handed over {}", short_time(job.closed.as_deref().unwrap_or_default())),
        job,
    };
    groups.push(Group { name: "Handed over", jobs: done.into_iter().take(most).map(over).collect() });
    groups.retain(|g| !g.jobs.is_empty());
    page(&Today { layout: Layout::of(&desk, "Today", "today"), asked: asked.find, groups })
}
