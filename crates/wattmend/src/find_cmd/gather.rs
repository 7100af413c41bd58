//! All evidence put together: the evidence file, then what the command line says, and the recording.

use super::Arguments;
use super::told::{Tells, Told};
use crate::end::{End, Failure};
use crate::load;
use crate::render::{Screen, diagnostics};
use diagnosis::evidence::{
    Answer, Clue, Entry, Evidence, Listener, NotUnderstood, Recording, TraceFile, read,
};
use machine::diagnostic::Diagnostic;
use machine::model::Machine;
use std::path::{Path, PathBuf};
use trace::{Sample, Trace};

/// Most samples of a recording: 23 days at one a second, some 150 MB.
const MOST_SAMPLES: usize = 2_000_000;

pub(super) struct Gathered {
    pub(super) evidence: Evidence,
    /// What a technician should know of the recording.
    pub(super) remarks: Vec<String>,
}

pub(super) fn gather(machine: &Machine, asked: &Arguments, screen: &Screen) -> Result<Gathered, Failure> {
    let listener = Listener::new(machine);
    let mut file = match &asked.evidence {
        Some(path) => EvidenceText::read(path, machine, screen)?,
        None => EvidenceText::default(),
    };
    if let Some(text) = &asked.supply {
        file.evidence.supply = Some(listener.supply(text).map_err(|e| refused("--supply", &e))?);
    }
    if let Some(text) = &asked.water {
        file.evidence.water_l = listener.water(text).map_err(|e| refused("--water", &e))?;
    }
    take(&mut file.evidence, &listener, &asked.told)?;
    let remarks = file.recording(asked, screen)?;
    if file.evidence.entries.is_empty() && file.evidence.trace.is_none() {
        return Err(Failure::asked_wrongly(
            "there is no evidence yet",
            "give at least one: --complaint \"does not heat\", --code, --trace recording.csv, --reading, --evidence FILE",
        ));
    }
    Ok(Gathered { evidence: file.evidence, remarks })
}

/// Adds what the command line says.
pub(crate) fn take(evidence: &mut Evidence, listener: &Listener<'_>, told: &Told) -> Result<(), Failure> {
    for (tells, value) in &told.0 {
        let option = Told::option(*tells);
        match said(listener, *tells, value).map_err(|e| refused(&option, &e))? {
            Said::Entries(entries) => evidence.entries.extend(entries),
            Said::Declines(id) => evidence.declined.push(id),
        }
    }
    Ok(())
}

/// An evidence file that was read, with what its messages need.
#[derive(Default)]
struct EvidenceText {
    path: PathBuf,
    text: String,
    evidence: Evidence,
    trace: Option<TraceFile>,
}

impl EvidenceText {
    fn read(path: &Path, machine: &Machine, screen: &Screen) -> Result<EvidenceText, Failure> {
        let text = load::evidence(path)?;
        match read(machine, &text) {
            Ok(file) => {
                Ok(EvidenceText { path: path.to_owned(), text, evidence: file.evidence, trace: file.trace })
            }
            Err(found) => Err(refused_file(path, &text, &found, screen)),
        }
    }

    /// Reads the recording that the command line names, or else the evidence file.
    fn recording(&mut self, asked: &Arguments, screen: &Screen) -> Result<Vec<String>, Failure> {
        let named = asked.trace.clone().or_else(|| {
            let trace = self.trace.as_ref()?;
            Some(self.path.parent().unwrap_or(Path::new("")).join(&trace.path))
        });
        let Some(path) = named else { return Ok(Vec::new()) };
        let mut trace = Trace::default();
        let mut too_many = false;
        let load::Recorded { summary, broken_off } =
            load::recording(&path, &asked.written.options()?, |sample: Sample| {
                if trace.samples.len() < MOST_SAMPLES {
                    trace.samples.push(sample);
                } else {
                    too_many = true;
                }
            })?;
        if too_many {
            return Err(Failure::new(
                End::FileRefused,
                &format!("{} has more than {MOST_SAMPLES} samples", path.display()),
                "cut out the service test; `wattmend trace` takes recordings of any length",
            ));
        }
        trace.start_unix_s = summary.start_unix_s;
        let name = path.display().to_string();
        let recording = match &self.trace {
            None => Recording { name, samples: trace.samples, ..Recording::default() },
            Some(file) => file.recording(trace).map(|r| Recording { name, ..r }).map_err(|(span, e)| {
                let found = Diagnostic::error(e.rule, span, e.message).mend(e.remedy);
                refused_file(&self.path, &self.text, &[found], screen)
            })?,
        };
        self.evidence.trace = Some(recording);
        let broken = broken_off.iter().map(|e| format!("read only in part: {e}"));
        let counted = [
            (summary.gaps.count, "stretches without samples"),
            (summary.skipped.count + summary.backward.count, "lines left out"),
        ];
        let counted = counted.into_iter().filter(|c| c.0 > 0).map(|(count, what)| format!("{what}: {count}"));
        let told = summary.notes.into_iter().chain(summary.questions);
        Ok(broken.chain(counted).chain(told).collect())
    }
}

fn refused_file(path: &Path, text: &str, found: &[Diagnostic], screen: &Screen) -> Failure {
    let name = path.display().to_string();
    Failure { text: diagnostics::render_evidence(&name, text, found, screen), end: End::FileRefused }
}

fn refused(option: &str, e: &NotUnderstood) -> Failure {
    Failure::asked_wrongly(&format!("{option}: {}", e.message), &e.remedy)
}

enum Said {
    Entries(Vec<Entry>),
    /// A check that is not to be asked again.
    Declines(String),
}

fn said(listener: &Listener<'_>, tells: Tells, value: &str) -> Result<Said, NotUnderstood> {
    let (clue, said) = match tells {
        Tells::Complaint => (listener.complaint(value)?, value.to_owned()),
        Tells::Works => (listener.works(value)?, format!("{value} works")),
        Tells::Code => (listener.code(value)?, format!("code {value}")),
        Tells::Lamps => {
            let lit: Vec<&str> = value.split(',').map(str::trim).collect();
            (listener.lamps(&lit)?, format!("lamps {}", lit.join(", ")))
        }
        Tells::Saw => (listener.saw(value, None)?, value.replace('=', " = ")),
        Tells::Mended => mended(listener, value)?,
        Tells::Reading => {
            let clues = listener.reading(value)?;
            let answers = clues.first().and_then(|c| c.check_id(listener.machine()));
            return Ok(Said::Entries(Entry::of_one(clues, value, None, answers.as_deref())));
        }
        Tells::Answer => {
            let (id, answer) = value.rsplit_once('=').unwrap_or((value, ""));
            let id = id.split_whitespace().collect::<Vec<_>>().join(" ");
            return Ok(match listener.answer(listener.asked(&id)?, answer)? {
                Answer::Declined => Said::Declines(id),
                Answer::Says(clues) => {
                    let said = format!("{id}: {}", answer.trim());
                    Said::Entries(Entry::of_one(clues, &said, None, Some(&id)))
                }
            });
        }
    };
    Ok(Said::Entries(vec![Entry { clue, said, at: None, answers: None }]))
}

/// `element`, `element=no`: does the machine work with it?
fn mended(listener: &Listener<'_>, value: &str) -> Result<(Clue, String), NotUnderstood> {
    let (part, works) = match value.split_once('=') {
        None => (value, None),
        Some((part, answer)) => (part, Some(listener.yes_or_no(answer)?)),
    };
    let said = match works {
        Some(true) => format!("{} mended: the machine works", part.trim()),
        Some(false) => format!("{} mended: no change", part.trim()),
        None => format!("{} mended", part.trim()),
    };
    Ok((listener.mended(part, works)?, said))
}
