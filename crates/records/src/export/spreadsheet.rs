//! Jobs and readings for a spreadsheet: CSV (RFC 4180), UTF-8. A text that a spreadsheet would take for a formula gets an
//! apostrophe before it, so that nobody's words are run as one.

use super::not_written;
use crate::check::numbers;
use crate::entry::{Entry, Says};
use crate::error::RecordsError;
use crate::jobs::entries;
use crate::log::Log;
use rusqlite::Connection;
use std::io::Write;

/// One row for each job.
pub(super) fn jobs(connection: &Connection, out: &mut dyn Write) -> Result<(), RecordsError> {
    let head = [
        "job", "opened", "customer", "phone", "address", "maker", "model", "variant", "serial", "words",
        "entries",
    ];
    row(out, head.map(str::to_owned))?;
    let mut statement = connection.prepare(
        "SELECT j.id, j.opened, coalesce(c.name, ''), coalesce(c.phone, ''), coalesce(c.address, ''),
           coalesce(m.maker, ''), coalesce(m.model, ''), coalesce(m.variant, ''), coalesce(m.serial, '')
         FROM job j LEFT JOIN customer c ON c.id = j.customer LEFT JOIN machine m ON m.id = j.machine ORDER BY j.id",
    )?;
    let mut rows = statement.query([])?;
    while let Some(found) = rows.next()? {
        let job: i64 = found.get(0)?;
        let log = Log::of(entries(connection, job)?);
        let mut cells = vec![job.to_string()];
        for column in 1..9 {
            cells.push(found.get(column)?);
        }
        cells.extend([log.words().unwrap_or_default().to_owned(), log.last().to_string()]);
        row(out, cells)?;
    }
    Ok(())
}

/// One row for each entry that reads, sees or answers something, also those that were put right later.
pub(super) fn readings(connection: &Connection, out: &mut dyn Write) -> Result<(), RecordsError> {
    row(out, ["job", "entry", "at", "kind", "what", "value", "put right by"].map(str::to_owned))?;
    for job in numbers(connection, "SELECT id FROM job ORDER BY id")? {
        let log = Log::of(entries(connection, job)?);
        for entry in log.entries() {
            let Some([kind, what, value]) = said(entry) else { continue };
            let by = log.superseded_by(entry.number).map_or(String::new(), |e| e.number.to_string());
            row(out, [job.to_string(), entry.number.to_string(), entry.at.clone(), kind, what, value, by])?;
        }
    }
    Ok(())
}

/// Kind, what it is about, and the value.
fn said(entry: &Entry) -> Option<[String; 3]> {
    let (kind, what, value) = match &entry.says {
        Says::Complaint { complaint } => ("complaint", "", complaint.clone()),
        Says::Works { works } => ("works", "", works.clone()),
        Says::Code { code } => ("code", "", code.clone()),
        Says::Lamps { lamps } => ("lamps", "", lamps.join(" ")),
        Says::Reading { reading } => {
            let (what, value) = reading.rsplit_once(':').unwrap_or(("", reading));
            ("reading", what.trim(), value.trim().to_owned())
        }
        Says::Saw { saw, answer } => ("saw", saw.as_str(), answer.clone()),
        Says::Check { check, answer } => ("check", check.as_str(), answer.clone()),
        Says::Mended { mended, cured } => {
            let cured = cured.map_or("", |cured| if cured { "works now" } else { "does not work yet" });
            ("mended", mended.as_str(), cured.to_owned())
        }
        Says::Supply { supply } => ("supply", "", supply.clone()),
        Says::Water { water } => ("water", "", water.clone()),
        Says::Edge { edge } => ("edge", edge.as_str(), String::new()),
        Says::Mark { mark } => ("mark", mark.as_str(), String::new()),
        Says::Fitted { fitted, old, .. } => ("fitted", fitted.as_str(), old.clone()),
        Says::Safety { safety, .. } => {
            let (what, value) = safety.split_once(['=', ':']).unwrap_or((safety, ""));
            ("safety", what.trim(), value.trim().to_owned())
        }
        Says::Signed { report, .. } => ("signed", "", report.clone()),
        Says::Words { .. }
        | Says::Caution { .. }
        | Says::Prices { .. }
        | Says::Decided { .. }
        | Says::Proving { .. }
        | Says::HandOver { .. }
        | Says::HandedOver { .. }
        | Says::Correction { .. }
        | Says::Erased { .. }
        | Says::Nothing {} => return None,
    };
    Some([kind.to_owned(), what.to_owned(), value])
}

fn row(out: &mut dyn Write, cells: impl IntoIterator<Item = String>) -> Result<(), RecordsError> {
    let cells: Vec<String> = cells.into_iter().map(|c| cell(&c)).collect();
    write!(out, "{}\r\n", cells.join(",")).map_err(|e| not_written(&e))
}

/// A cell, quoted where it must be.
fn cell(text: &str) -> String {
    let text =
        if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() };
    if text.contains(['"', ',', ';', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::cell;

    #[test]
    fn a_cell_is_text_and_nothing_else() {
        assert_eq!(cell("Tern 81"), "Tern 81");
        assert_eq!(cell("a, \"b\""), "\"a, \"\"b\"\"\"");
        assert_eq!(cell("=1+1"), "'=1+1");
        assert_eq!(cell("two\nlines"), "\"two\nlines\"");
    }
}
