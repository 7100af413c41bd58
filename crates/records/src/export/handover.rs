//! What is kept of one customer, for that customer: a folder with `customer.json`, pictures and sounds, and the recordings of
//! the jobs as CSV.

use super::{Counted, in_new_folder, not_written};
use crate::erase::{Whose, jobs_of};
use crate::error::RecordsError;
use crate::handed_over::HandedOver;
use crate::jobs::{JobId, customer};
use crate::open::Records;
use crate::samples::{self, Trace};
use jiff::Timestamp;
use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;

impl Records {
    /// Writes what is kept of a customer to a new folder.
    ///
    /// # Errors
    /// Where there is no such customer or job, the folder is there already, something is damaged, or the disk refuses.
    pub fn hand_over(&self, whose: Whose, to: &Path) -> Result<Counted, RecordsError> {
        let jobs = jobs_of(&self.connection(), whose)?;
        let mut counted = Counted { jobs: jobs.len(), ..Counted::default() };
        in_new_folder(to, |folder| {
            let mut all = Vec::new();
            for job in jobs {
                all.push(self.hand_over_job(job, folder, &mut counted)?);
            }
            let customer = match whose {
                Whose::Customer(id) => Some(customer(&self.connection(), id)?),
                Whose::Job(job) => self.job(job)?.and_then(|j| j.customer),
            };
            let customer =
                customer.map(|c| json!({ "name": c.name, "telephone": c.phone, "address": c.address }));
            let text = format!("{:#}\n", json!({ "customer": customer, "jobs": all }));
            folder
                .file("customer.json", |out| out.write_all(text.as_bytes()).map_err(|e| not_written(&e)))?;
            Ok(counted)
        })
    }

    fn hand_over_job(
        &self,
        id: JobId,
        folder: &mut super::Folder<'_>,
        counted: &mut Counted,
    ) -> Result<Value, RecordsError> {
        let Some(job) = self.job(id)? else { return Ok(Value::Null) };
        let entries =
            job.log.entries().iter().map(
                |e| json!({ "number": e.number, "at": e.at, "says": e.says, "puts right": e.supersedes }),
            );
        let entries: Vec<Value> = entries.collect();
        counted.entries += entries.len();
        let mut attachments = Vec::new();
        for one in self.attachments_of(id)? {
            let bytes = self.content(one.id)?;
            // The name that it came with is told in the list; the file's is ours.
            let file = bytes.as_ref().map(|_| format!("attachments/{}", one.id.number()));
            if let (Some(bytes), Some(file)) = (&bytes, &file) {
                counted.attachments += 1;
                folder.file(file, |out| out.write_all(bytes).map_err(|e| not_written(&e)))?;
            }
            attachments.push(json!({ "file": file, "name": one.name, "type": one.media_type, "at": one.at,
                "erased": one.erased }));
        }
        let mut recordings = Vec::new();
        for trace in self.traces_of(id)? {
            let file = format!("recordings/{}.csv", trace.id.number());
            counted.samples += folder.file(&file, |out| self.as_csv(&trace, out))?;
            recordings.push(json!({ "file": file, "from": trace.from.to_string(), "to": trace.to.map(|t| t.to_string()) }));
        }
        let machine = job.machine.map(
            |m| json!({ "maker": m.maker, "model": m.model, "variant": m.variant, "serial number": m.serial }),
        );
        let record = match self.handed_over(id)? {
            Some(HandedOver::Record(record)) => serde_json::from_str(&record).unwrap_or(Value::Null),
            _ => Value::Null,
        };
        let last_link = self.verify(id)?.head;
        Ok(
            json!({ "job": id, "opened": job.opened, "machine": machine, "entries": entries, "last link": last_link,
            "record": record,
            "attachments": attachments, "recordings": recordings }),
        )
    }

    /// The samples of a trace as a table; gives how many. One that is still open ends where the samples do.
    fn as_csv(&self, trace: &Trace, out: &mut dyn Write) -> Result<usize, RecordsError> {
        out.write_all(b"time,watts,volts,amperes\n").map_err(|e| not_written(&e))?;
        let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
        let mut count = 0;
        // A connection of its own: samples are kept meanwhile.
        let connection = self.reader()?;
        let (socket, to) = (trace.socket.number(), trace.to.unwrap_or(Timestamp::MAX));
        samples::each(&connection, socket, trace.from, to, |some| {
            count += some.len();
            some.iter().try_for_each(|s| {
                writeln!(out, "{},{},{},{}", s.at, number(s.watts), number(s.volts), number(s.amps))
                    .map_err(|e| not_written(&e))
            })
        })?;
        Ok(count)
    }
}
