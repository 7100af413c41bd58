//! Prove: the safety tests of this machine in the order that protects, its own re-test, and the sign-off.

use super::layout::{page, short_time};
use crate::desk::Desk;
use crate::problem::{Problem, answered};
use crate::setup::units;
use crate::visit;
use crate::visit::keep::{self, Fields, Said};
use crate::visit::proof::{Proof, Read, proof};
use crate::who::Who;
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use axum::routing::{get, post};
use axum::{Extension, Router};
use machine::model::{Class, Machine};
use quantity::conformity::Verdict;
use quantity::{Dimension, Units, format, format_pm};
use records::{Job, JobId, ProvingFacts, Records, Says, Settings, TesterFacts};
use report::finding::words;
use safety::retest::{Retest, Retested};
use safety::{Calibrated, Conclusion, Item, Judged, Keep, Limit, Next, State as TestState, Test, WhyNot};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/jobs/{id}/prove", get(show).post(keep)).route("/jobs/{id}/sign", post(sign))
}

/// Most faults that are named beside a step of the re-test.
const NAMED: usize = 3;

pub(super) struct ProveView {
    /// The fold in one line.
    pub(super) line: String,
    pub(super) open: bool,
    pub(super) needs: &'static str,
    pub(super) trouble: Option<Problem>,
    pub(super) proof: Option<ProofView>,
    pub(super) facts: ProvingFacts,
    /// Unit of a bare number in the field of the lead, and a usual lead in it.
    pub(super) lead_unit: &'static str,
    pub(super) usual_lead: String,
    /// Key and name of the standards that may be chosen.
    pub(super) standards: Vec<(String, String, bool)>,
    pub(super) tester: TesterFacts,
    pub(super) signed: Option<SignedView>,
    /// Who asks may sign.
    pub(super) may_sign: bool,
    /// Who signs, as far as known.
    pub(super) signer: String,
}

pub(super) struct ProofView {
    pub(super) about: String,
    pub(super) who: String,
    pub(super) next: Option<NextView>,
    pub(super) items: Vec<ItemView>,
    pub(super) steps: Vec<StepView>,
    pub(super) skipped: String,
    /// Tests that may well apply, and whose limits are not known here.
    pub(super) not_judged: String,
    pub(super) remarks: Vec<String>,
    /// `FIT`, `NOT FIT`, `OPEN`.
    pub(super) word: &'static str,
    pub(super) bad: bool,
    pub(super) says: String,
    /// It is settled, so that it can be signed.
    pub(super) settled: bool,
}

/// What to do next, its caution with it.
pub(super) struct NextView {
    pub(super) caution: String,
    pub(super) says: String,
    pub(super) field: FieldView,
}

/// How a reading is typed.
pub(super) struct FieldView {
    /// `earth bond`, `step warm`: what stands before the reading.
    pub(super) of: String,
    pub(super) label: String,
    /// It is measured; else answered pass or fail.
    pub(super) measured: bool,
    pub(super) example: &'static str,
}

pub(super) struct ItemView {
    pub(super) name: &'static str,
    pub(super) state: String,
    pub(super) bad: bool,
    pub(super) why: Vec<String>,
    pub(super) limit: String,
    pub(super) source: String,
    pub(super) means: &'static str,
    /// What could hurt in looking.
    pub(super) careful: String,
    pub(super) look_for: Vec<&'static str>,
    pub(super) readings: Vec<ReadView>,
    /// Another reading may be added.
    pub(super) more: Option<FieldView>,
}

pub(super) struct StepView {
    pub(super) step: String,
    pub(super) state: String,
    pub(super) bad: bool,
    pub(super) should: String,
    pub(super) faults: String,
    pub(super) readings: Vec<ReadView>,
    pub(super) more: Option<FieldView>,
}

pub(super) struct ReadView {
    pub(super) entry: u32,
    pub(super) said: String,
    /// The part that was worked on after it, so that it does not count; empty: it counts.
    pub(super) overtaken_by: String,
}

pub(super) struct SignedView {
    pub(super) by: String,
    pub(super) at: String,
    pub(super) report: String,
    pub(super) overtaken: bool,
}

impl ProveView {
    pub(super) async fn of(
        desk: &Arc<Desk>,
        machine: Option<Arc<Machine>>,
        job: &Job,
        settings: &Settings,
        who: &Who,
    ) -> Result<ProveView, Problem> {
        let facts = visit::proof::facts_of(&job.log);
        let chosen = [&facts.standard, &settings.standard].into_iter().find(|s| !s.is_empty());
        let chosen = chosen.map_or("en", |s| s.as_str()).to_owned();
        let standards = safety::standards().iter().filter(|s| s.after_repair);
        let standards = standards
            .map(|s| (s.key.clone(), format!("{}, {}", s.name, s.edition), s.key == chosen))
            .collect();
        let units = units(&settings.units);
        let mut view = ProveView {
            line: String::new(),
            open: false,
            needs: "Prove needs the machine file: match the machine under Arrive.",
            trouble: None,
            proof: None,
            facts,
            standards,
            lead_unit: units.symbol(Dimension::Length),
            usual_lead: units.format(1.5, Dimension::Length),
            tester: settings.tester.clone(),
            signed: visit::signed(&job.log).map(|s| SignedView {
                by: s.by.to_owned(),
                at: short_time(s.at),
                report: s.report.to_owned(),
                overtaken: s.overtaken,
            }),
            may_sign: who.may_sign(),
            signer: who.name().unwrap_or_default(),
        };
        let Some(machine) = machine else { return Ok(view) };
        view.needs = "";
        let (at_work, at_settings) = (job.clone(), settings.clone());
        let today = jiff::ZonedDateTime::now().date();
        let proof = match desk.work(move || proof(&machine, &at_work, &at_settings, today)).await? {
            Ok(proof) => proof,
            Err(problem) => {
                view.trouble = Some(problem);
                return Ok(view);
            }
        };
        let begun = !proof.readings.is_empty();
        let mended = visit::fitted(&job.log).next().is_some() || visit::mended(&job.log).is_some();
        view.open = begun || mended;
        view.line = line(&proof, view.signed.as_ref(), begun);
        view.tester = proof.tester.clone();
        if let Some(signed) = view.signed.as_mut() {
            // A machine file that was matched anew stands in no entry.
            signed.overtaken |= signed.report != proof.report.says;
            view.open &= signed.overtaken;
        }
        view.proof = Some(proof_view(&proof, units));
        Ok(view)
    }
}

fn line(proof: &Proof, signed: Option<&SignedView>, begun: bool) -> String {
    let word = word(proof.report.conclusion);
    match signed {
        Some(s) if !s.overtaken => format!("{word}, signed by {}", s.by),
        Some(_) => format!("{word}; signed before something changed: sign again"),
        None if begun => match proof.report.conclusion {
            Conclusion::NotShown => {
                let done = proof.report.items.iter().filter(|i| i.passed()).count();
                format!("{done} of {} tests passed", proof.report.items.len())
            }
            _ => format!("{word}, to be signed"),
        },
        None => format!("{} tests", proof.report.items.len()),
    }
}

fn word(conclusion: Conclusion) -> &'static str {
    match conclusion {
        Conclusion::FitToHandBack => "FIT",
        Conclusion::NotFit => "NOT FIT",
        Conclusion::NotShown => "OPEN",
    }
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Unsure => "unsure",
        Verdict::Fail => "FAIL",
    }
}

fn proof_view(proof: &Proof, units: Units) -> ProofView {
    let report = &proof.report;
    let next = report.next();
    let mains = report.conclusion != Conclusion::NotFit;
    let not_judged: Vec<&str> = report.not_judged().map(Test::name).collect();
    let skipped = report.skipped.iter().filter(|s| s.why != WhyNot::NoLimitKnown);
    let skipped: Vec<&str> = skipped.map(|s| s.test.name()).collect();
    ProofView {
        about: about(proof, units),
        who: report.standard.who.clone(),
        next: next.as_ref().map(next_view),
        items: report.items.iter().map(|i| item_view(i, &proof.readings, mains)).collect(),
        steps: report.retest.iter().map(|r| step_view(r, &proof.readings, mains)).collect(),
        skipped: skipped.join(", "),
        not_judged: not_judged.join(", "),
        remarks: report.remarks.clone(),
        word: word(report.conclusion),
        bad: report.conclusion == Conclusion::NotFit,
        says: report.says.clone(),
        settled: report.conclusion != Conclusion::NotShown,
    }
}

fn about(proof: &Proof, units: Units) -> String {
    let (subject, standard) = (&proof.subject, proof.report.standard);
    let class = match subject.class() {
        Class::I => "Class I (earthed)",
        Class::II => "Class II (double insulation)",
        Class::III => "Class III (extra-low voltage)",
    };
    let calibrated = match proof.report.calibrated {
        Calibrated::Until(day) => format!("tester's calibration holds until {day}"),
        Calibrated::RanOut(day) => format!("tester's CALIBRATION RAN OUT on {day}"),
        Calibrated::Impossible => "the tester's calibration dates cannot be right".to_owned(),
        Calibrated::NotStated => "tester's calibration not given".to_owned(),
    };
    format!(
        "{class}, lead {} of {} mm², heating {}; limits: {}, {}; {calibrated}.",
        units.format(subject.lead_m(), Dimension::Length),
        subject.core_mm2(),
        format(subject.heating_w(), Dimension::Power),
        standard.name,
        standard.edition,
    )
}

fn next_view(next: &Next<'_>) -> NextView {
    match next {
        Next::Test(item) => NextView {
            caution: item.instruction.caution.clone(),
            says: item.instruction.says.clone(),
            field: field_of(item.test),
        },
        Next::Step(step) => NextView {
            caution: step.instruction.caution.clone(),
            says: step.instruction.says.clone(),
            field: field_of_step(step),
        },
    }
}

fn field_of(test: Test) -> FieldView {
    FieldView {
        of: test.name().to_owned(),
        label: capital(test.name()),
        measured: test.measures().is_some(),
        example: match test {
            Test::ProtectiveConductor => "0R09",
            Test::Insulation => ">299M or 2M2",
            _ => "0.35 mA",
        },
    }
}

fn field_of_step(step: &Retest) -> FieldView {
    FieldView {
        of: format!("step {}", step.step),
        label: format!("Watts in step {}", step.step),
        measured: step.watts_tell,
        example: "1.79 kW",
    }
}

/// `Earth bond`.
fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn readings<'r>(all: &'r [Read], of: impl Fn(&Read) -> bool + 'r) -> Vec<ReadView> {
    let view =
        |r: &Read| ReadView { entry: r.entry, said: r.said.clone(), overtaken_by: r.overtaken_by.clone() };
    all.iter().filter(|r| of(r)).map(view).collect()
}

fn not_yet(by: &[Test]) -> String {
    let by: Vec<&str> = by.iter().map(|t| t.name()).collect();
    format!("not yet: {} must have passed", by.join(", "))
}

fn item_view(item: &Item, all: &[Read], mains: bool) -> ItemView {
    let (state, judged): (String, &[Judged]) = match &item.state {
        TestState::Done { verdict: v, judged } => (verdict(*v).to_owned(), judged),
        TestState::Open => ("to do".to_owned(), &[]),
        TestState::Blocked { by, .. } => (not_yet(by), &[]),
    };
    let done = matches!(item.state, TestState::Done { .. });
    ItemView {
        name: item.test.name(),
        bad: done && !item.passed(),
        why: judged.iter().map(|j| numbers(j, item.limit.as_ref())).collect(),
        limit: item.limit.as_ref().map_or(String::new(), limit_words),
        source: item.limit.as_ref().map_or(String::new(), source),
        means: item.meaning.as_ref().map_or("", |m| m.says),
        careful: item.meaning.as_ref().map_or(String::new(), |m| m.caution.clone()),
        look_for: item.meaning.as_ref().map_or(Vec::new(), |m| m.look_for.to_vec()),
        readings: readings(all, |r| r.test == Some(item.test)),
        more: (done && (mains || !item.test.energises())).then(|| field_of(item.test)),
        state,
    }
}

/// The comparison, from where on it would pass, and how sure that is.
fn numbers(judged: &Judged, limit: Option<&Limit>) -> String {
    let (Some(limit), Some(accepted), Some(p)) = (limit, judged.accepted, judged.probability) else {
        return judged.why.clone();
    };
    let side = if limit.keep == Keep::AtMost { "up to" } else { "from" };
    let band = if accepted <= 0.0 {
        "with this uncertainty nothing passes".to_owned()
    } else {
        format!("passes {side} {}", limit.test.written(accepted))
    };
    format!("{}. Guard band: {band}. It keeps to the limit with {}.", judged.why, words::per_cent(p))
}

fn limit_words(limit: &Limit) -> String {
    let keep = if limit.keep == Keep::AtMost { "at most" } else { "at least" };
    format!("{keep} {}", limit.test.written(limit.value))
}

fn source(limit: &Limit) -> String {
    let memory = if limit.from_memory { " From memory: look it up." } else { "" };
    format!("{}; {}, {}.{memory}", limit.says, limit.clause, limit.source)
}

fn step_view(step: &Retest, all: &[Read], mains: bool) -> StepView {
    let (state, bad, done) = match &step.state {
        Retested::Done { verdict: v, why, .. } => {
            (format!("{}: {why}", verdict(*v)), *v != Verdict::Pass, true)
        }
        Retested::Open if step.watts_tell => ("to do".to_owned(), false, false),
        Retested::Open => ("to do: watch it, answer pass or fail".to_owned(), false, false),
        Retested::Blocked(by) => (not_yet(by), false, false),
    };
    let fault = |(fault, w): &(String, f64)| format!("{fault} {}", format(w.round(), Dimension::Power));
    let mut faults: Vec<String> = step.would_show.iter().take(NAMED).map(fault).collect();
    if step.would_show.len() > NAMED {
        faults.push(format!("{} more", step.would_show.len() - NAMED));
    }
    StepView {
        step: step.step.clone(),
        state,
        bad,
        should: format_pm(step.expected_w.value, 2.0 * step.expected_w.u, Dimension::Power),
        faults: faults.join("; "),
        readings: readings(all, |r| r.step == step.step),
        more: (done && mains).then(|| field_of_step(step)),
    }
}

#[derive(Template)]
#[template(path = "prove.html")]
struct ProvePart {
    id: JobId,
    prove: ProveView,
}

/// The fold alone.
async fn show(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let machine = desk.machine_of(&job).ok().flatten();
    let settings = desk.with_records(Records::settings).await?;
    page(&ProvePart { id, prove: ProveView::of(&desk, machine, &job, &settings, &who).await? })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    let units = match desk.with_records(Records::settings).await {
        Ok(settings) => units(&settings.units),
        Err(problem) => return answered(&headers, Err(problem), ""),
    };
    let said = |_: &Job, fields: &Fields| said(fields, units);
    keep::answer(&desk, &who, &headers, id, "#prove", Fields(sent), said).await
}

fn said(fields: &Fields, units: Units) -> Result<Said, Problem> {
    match fields.text("what") {
        "safety" => {
            let value = match fields.text("answer") {
                "" => fields.text("value"),
                answer => answer,
            };
            if value.is_empty() {
                return Err(Problem::refused("the reading is missing", "type what the tester showed"));
            }
            let safety = format!("{} = {value}", fields.text("of"));
            Ok(vec![(Says::Safety { safety, tester: tester(fields) }, None)])
        }
        "facts" => {
            let text = |name: &str| fields.text(name).to_owned();
            let proving = ProvingFacts {
                standard: text("standard"),
                class: text("class"),
                lead: match fields.text("lead") {
                    "" => String::new(),
                    lead => units.with_unit(lead, Dimension::Length),
                },
                core: text("core"),
                heating: text("heating"),
                sort: text("sort"),
                unearthed_metal: fields.ticked("unearthed"),
                sheathed_element: fields.ticked("sheathed"),
                switches_by_hand: fields.ticked("by-hand"),
                surge_arresters: fields.ticked("arresters"),
                rewired: fields.ticked("rewired"),
            };
            Ok(vec![(Says::Proving { proving }, None)])
        }
        other => Err(Problem::refused(
            format!("`{other}` is nothing that can be proved"),
            "reload the page and say it again",
        )),
    }
}

/// The tester as a form describes it.
pub(super) fn tester(fields: &Fields) -> TesterFacts {
    let text = |name: &str| fields.text(name).to_owned();
    let accuracy = fields.text("accuracy").lines().map(str::trim).filter(|l| !l.is_empty());
    TesterFacts {
        name: text("tester"),
        calibrated: text("calibrated"),
        due: text("due"),
        accuracy: accuracy.map(str::to_owned).collect(),
    }
}

/// The sign-off: what is signed stands in the form, so that nobody signs what changed meanwhile.
async fn sign(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    // A person signs with the own name; where the bench knows no people, with the one that was typed.
    let signer = who.name();
    let said = |_: &Job, fields: &Fields| {
        let signed = signer.unwrap_or_else(|| fields.text("name").to_owned());
        Ok(vec![(Says::Signed { signed, report: fields.text("report").to_owned() }, None)])
    };
    keep::answer(&desk, &who, &headers, id, "#prove", Fields(sent), said).await
}
