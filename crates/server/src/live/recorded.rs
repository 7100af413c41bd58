//! A job's trace as evidence: the stretch that ended last, read from the records, with the marks of the log. While a trace is
//! open it counts for nothing yet.

use super::MOST_SAMPLES;
use super::marks::{Taps, for_alignment, is_edge};
use super::range::ms;
use super::view::PartView;
use crate::desk::Desk;
use crate::problem::Problem;
use axum::extract::{Path, State};
use axum::routing::get;
use axum::{Json, Router};
use bench::Hypothesis;
use diagnosis::evidence::Recording;
use jiff::Timestamp;
use machine::model::Machine;
use records::{Job, JobId, Trace};
use serde_json::{Value, json};
use std::sync::Arc;

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/api/jobs/{id}/trace", get(for_programs).post(super::acts::by_program))
}

/// The trace of a job that counts, with its marks and edges.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Counts {
    trace: Trace,
    marks: Vec<(f64, usize)>,
    edges: Vec<(f64, usize)>,
}

/// The trace of a job that counts as evidence, of those that began before `until`; its samples are not read yet.
pub(crate) async fn of(
    desk: &Arc<Desk>,
    job: &Job,
    machine: &Machine,
    until: Option<Timestamp>,
) -> Result<Option<Counts>, Problem> {
    if machine.test.steps.is_empty() {
        return Ok(None);
    }
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let counts = |trace: Trace| {
        let Taps { marks, mut edges } = Taps::of_log(&job.log, machine, trace.from);
        let until_s = trace.to.map_or(0.0, |to| to.duration_since(trace.from).as_secs_f64());
        edges.retain(|edge| edge.0 <= until_s);
        Counts { trace, marks: for_alignment(&marks, until_s), edges }
    };
    let then = |t: &Trace| t.to.is_some() && until.is_none_or(|until| t.from < until);
    Ok(traces.into_iter().filter(then).max_by_key(|t| t.id).map(counts))
}

/// Its samples; none where there are none with watts.
pub(crate) async fn read(desk: &Arc<Desk>, counts: Counts) -> Result<Option<Recording>, Problem> {
    let Counts { trace, marks, edges } = counts;
    let to = trace.to.unwrap_or(trace.from);
    let (kept, name) = desk
        .with_records(move |r| {
            let name = r.sockets()?.into_iter().find(|s| s.id == trace.socket).map(|s| s.name);
            Ok((r.samples(trace.socket, trace.from, to)?, name.unwrap_or_default()))
        })
        .await?;
    let sample = |s: &records::Sample| sample(s, trace.from);
    let samples: Vec<trace::Sample> = kept.iter().filter_map(sample).take(MOST_SAMPLES).collect();
    Ok((!samples.is_empty()).then(|| Recording { name: format!("socket {name}"), samples, marks, edges }))
}

/// A sample of a trace that begins then; none where the meter gave no watts.
pub(super) fn sample(s: &records::Sample, begins: Timestamp) -> Option<trace::Sample> {
    Some(trace::Sample {
        time_s: s.at.duration_since(begins).as_secs_f64(),
        power_w: s.watts?,
        voltage_v: s.volts,
        current_a: s.amps,
        power_factor: None,
    })
}

/// Where the steps lie in the trace that counts, with their verdicts; times as those of the samples.
async fn for_programs(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
) -> Result<Json<Value>, crate::problem::ForPrograms> {
    let job = desk.job(id).await?;
    let found = crate::worked_out::worked_out(&desk, &job).await?;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let trace = traces.into_iter().filter(|t| t.to.is_some()).max_by_key(|t| t.id);
    let (Some(found), Some(trace)) = (found, trace) else {
        return Err(Problem::refused(
            "no trace of this job counts yet",
            "end the test, or attach a recording",
        )
        .into());
    };
    let at = |s: f64| ms(trace.from) + 1000.0 * s;
    let edges = Taps::of_log(&job.log, &found.machine, trace.from).edges;
    let shared = found.clone();
    let healthy = Hypothesis::healthy();
    let expected = desk.work(move || bench::predict(&shared.machine, &healthy, &shared.conditions)).await?;
    let parts = found.finding.steps.iter().filter_map(|v| {
        let part = PartView {
            step: v.step,
            from_ms: at(v.start_s?),
            to_ms: at(v.end_s?),
            reads: v.measured_w,
            should: v.expected_w,
            verdict: v.verdict,
            why: &v.why,
            by_hand: is_edge(&edges, v.start_s?, v.step),
        };
        Some(part.json(&found.machine, &expected))
    });
    let mut parts: Vec<Value> = parts.collect();
    parts.sort_by(|a, b| a["from"].as_f64().unwrap_or(0.0).total_cmp(&b["from"].as_f64().unwrap_or(0.0)));
    Ok(Json(json!({
        "trace": trace.id.number(), "socket": trace.socket.number(), "from": ms(trace.from),
        "to": trace.to.map(ms), "place": { "is": "over" }, "parts": parts,
    })))
}
