//! The fault chart: what to check in which order, worked out for every answer; as a page, and drawn for paper.

use super::layout::{Layout, in_address, page};
use super::sheet::svg;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::setup::setup;
use crate::worked_out;
use askama::Template;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::get;
use diagnosis::Find;
use diagnosis::chart::{Extent, Then};
use diagnosis::evidence::{Entry, Evidence, Listener};
use diagnosis::setup::Setup;
use machine::model::Machine;
use records::{JobId, Records};
use report::fault_chart::{Charted, DEFERS, came_from, leads_out, takes};
use report::finding::words;
use serde::Deserialize;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// Charts that are kept.
const KEPT: usize = 4;
/// How one starts again where the chart ends.
const AFRESH: &str = "a job of your own";

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/machines/{file}/chart", get(of_machine))
        .route("/machines/{file}/chart.svg", get(of_machine_drawn))
        .route("/jobs/{id}/chart", get(of_job))
        .route("/jobs/{id}/chart.svg", get(of_job_drawn))
}

/// A chart, put into words and drawn.
struct Made {
    title: String,
    name: String,
    takes: String,
    suspects: Vec<(String, String)>,
    nodes: Vec<Node>,
    notes: Vec<String>,
    svg: String,
}

struct Node {
    number: usize,
    /// The node that it follows from, and what was found there; 0: it is the first.
    after: usize,
    came_by: String,
    caution: String,
    says: String,
    takes: String,
    ways: Vec<Way>,
}

struct Way {
    label: String,
    share: String,
    /// Where it leads; 0: to no other node.
    to: usize,
    out: &'static str,
}

/// Charts that were made, newest first, by what they were made from.
#[derive(Default)]
pub(crate) struct Charts(Mutex<VecDeque<(String, Arc<Made>)>>);

impl Charts {
    fn get(&self, key: &str) -> Option<Arc<Made>> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.iter().find(|c| c.0 == key).map(|c| c.1.clone())
    }

    fn keep(&self, key: String, made: &Arc<Made>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.push_front((key, made.clone()));
        all.truncate(KEPT);
    }
}

/// What a chart is made from.
struct From {
    machine: Arc<Machine>,
    variant: Option<String>,
    evidence: Evidence,
    setup: Setup,
    /// Names all that.
    key: String,
}

#[derive(Template)]
#[template(path = "chart.html")]
struct Page {
    layout: Layout,
    made: Arc<Made>,
    defers: &'static str,
    drawing: String,
    back: String,
    back_to: &'static str,
}

#[derive(Deserialize)]
struct About {
    #[serde(default)]
    complaint: String,
}

async fn of_machine(
    State(desk): State<Arc<Desk>>,
    Path(file): Path<String>,
    Query(about): Query<About>,
) -> Result<Response, Problem> {
    let made = chart(&desk, from_machine(&desk, &file, &about).await?).await?;
    let address = format!("/machines/{}", in_address(&file));
    page(&Page {
        layout: Layout::of(&desk, made.title.clone(), "machines"),
        made,
        defers: DEFERS,
        drawing: format!("{address}/chart.svg?complaint={}", in_address(&about.complaint)),
        back: address,
        back_to: "the machine",
    })
}

async fn of_machine_drawn(
    State(desk): State<Arc<Desk>>,
    Path(file): Path<String>,
    Query(about): Query<About>,
) -> Result<Response, Problem> {
    Ok(svg(chart(&desk, from_machine(&desk, &file, &about).await?).await?.svg.clone()))
}

async fn of_job(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let made = chart_of_job(&desk, id).await?;
    page(&Page {
        layout: Layout::of(&desk, made.title.clone(), "today"),
        made,
        defers: DEFERS,
        drawing: format!("/jobs/{id}/chart.svg"),
        back: format!("/jobs/{id}#find"),
        back_to: "the job",
    })
}

async fn of_job_drawn(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    Ok(svg(chart_of_job(&desk, id).await?.svg.clone()))
}

async fn from_machine(desk: &Arc<Desk>, file: &str, about: &About) -> Result<From, Problem> {
    let (found, machine) = desk.library.usable(file)?;
    let said = about.complaint.trim();
    if said.is_empty() {
        return Err(Problem::refused(
            "a chart begins with a complaint",
            "choose one on the machine's page, under Fault charts",
        ));
    }
    let clue = Listener::new(&machine).complaint(said)?;
    let entry = Entry { clue, said: said.to_owned(), at: None, answers: None };
    let setup = setup(&desk.with_records(Records::settings).await?);
    Ok(From {
        key: format!("{setup:?}\n{said}\n{}", found.text),
        variant: machine.plate.variants.first().cloned(),
        machine,
        evidence: Evidence { entries: vec![entry], ..Evidence::default() },
        setup,
    })
}

async fn chart_of_job(desk: &Arc<Desk>, id: JobId) -> Result<Arc<Made>, Problem> {
    let nothing = || {
        Problem::refused(
            "there is nothing to go by yet",
            "match the machine and say what fails, under Arrive",
        )
    };
    let job = desk.job(id).await?;
    let known = worked_out::known(desk, &job, None).await?.ok_or_else(nothing)?;
    // Before the samples of a recording are read.
    if let Some(made) = desk.pages.charts.get(&known.key) {
        return Ok(made);
    }
    let known = known.with_samples(desk).await?.ok_or_else(nothing)?;
    let variant = job.machine.map(|m| m.variant).filter(|v| !v.is_empty());
    let from = From {
        key: known.key,
        variant: variant.or_else(|| known.machine.plate.variants.first().cloned()),
        machine: known.machine,
        evidence: known.evidence,
        setup: known.setup,
    };
    chart(desk, from).await
}

async fn chart(desk: &Arc<Desk>, from: From) -> Result<Arc<Made>, Problem> {
    if let Some(made) = desk.pages.charts.get(&from.key) {
        return Ok(made);
    }
    let shared = desk.clone();
    desk.work(move || {
        let made = Arc::new(make(&from)?);
        shared.pages.charts.keep(from.key, &made);
        Ok(made)
    })
    .await?
}

fn make(from: &From) -> Result<Made, Problem> {
    let refused = |e: diagnosis::FindError| {
        Problem::refused(format!("no chart can be made: {e}"), "take the entry back that you trust least")
    };
    let extent = Extent::default();
    let mut find = Find::new(&from.machine, &from.evidence, &from.setup).map_err(refused)?;
    let chart = find.chart(&from.evidence, &extent).map_err(refused)?;
    drop(find);
    let charted = Charted {
        machine: &from.machine,
        variant: from.variant.as_deref(),
        evidence: &from.evidence,
        extent,
        chart,
    };
    Ok(Made {
        title: charted.title(),
        name: charted.name(),
        takes: charted.takes(),
        suspects: charted
            .chart
            .suspects
            .iter()
            .take(8)
            .map(|(case, p)| (case.says(&from.machine), words::per_cent(*p)))
            .collect(),
        nodes: nodes(&charted),
        notes: charted.how_to_read(AFRESH),
        svg: report::flow_chart(&charted.flow(AFRESH)),
    })
}

fn nodes(charted: &Charted<'_>) -> Vec<Node> {
    let chart = &charted.chart;
    let came = came_from(chart);
    let one = |(at, node): (usize, &diagnosis::chart::Node)| Node {
        number: at + 1,
        after: came[at].map_or(0, |(parent, _)| parent + 1),
        came_by: came[at].map_or(String::new(), |(p, b)| chart.nodes[p].branches[b].label.says()),
        caution: node.caution().to_owned(),
        says: node.says().to_owned(),
        takes: takes(charted.machine, node),
        ways: node
            .branches
            .iter()
            .map(|branch| Way {
                label: branch.label.says(),
                share: words::per_cent(branch.probability),
                to: if let Then::Node(next) = branch.then { next + 1 } else { 0 },
                out: leads_out(node, branch),
            })
            .collect(),
    };
    chart.nodes.iter().enumerate().map(one).collect()
}
