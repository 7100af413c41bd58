//! A customer's data, found and erased on request. What goes: name, telephone, address, the words that were written down,
//! attachments, the machine's serial number, the record that was handed over. What stays: the technical part of each job, with
//! "erased on" where words stood, and a chain that still holds (chain.rs). Samples say nothing of a person and stay.
//!
//! A customer is that of one job: who comes again is entered again, so that one person may have several numbers.
//! [`Records::customers_alike`] finds those; whether it is the same person, somebody must say.
//!
//! Not here: backups and exports that were made before. They lie where somebody put them, and must be let go of there.

use crate::attachments::erase_where;
use crate::error::RecordsError;
use crate::handed_over;
use crate::jobs::{Customer, JobId, job_is_there};
use crate::open::Records;
use jiff::civil::Date;
use rusqlite::{Connection, OptionalExtension, params};

/// What stands for the name of a customer who was erased, before the day.
const ERASED: &str = "erased on ";

/// Number of a customer.
pub type CustomerId = i64;

/// A customer with the jobs that were done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CustomerLine {
    /// The number.
    pub id: CustomerId,
    /// The customer.
    pub customer: Customer,
    /// The jobs.
    pub jobs: Vec<JobId>,
}

/// Whose data is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// That of one customer's number, in all its jobs; the same person may have others ([`Records::customers_alike`]).
    Customer(CustomerId),
    /// That of one job, whose customer has no name here, or other jobs too.
    Job(JobId),
}

/// What was erased.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Erased {
    /// The jobs.
    pub jobs: Vec<JobId>,
    /// Entries whose words are gone.
    pub words: usize,
    /// Attachments that are gone.
    pub attachments: usize,
}

impl Records {
    /// Customers in whose name, telephone or address all these words stand, by number.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn customers(&self, search: &str) -> Result<Vec<CustomerLine>, RecordsError> {
        let connection = self.connection();
        let mut statement =
            connection.prepare("SELECT id, name, phone, address FROM customer ORDER BY id")?;
        let all = statement.query_map([], |row| {
            let customer = Customer { name: row.get(1)?, phone: row.get(2)?, address: row.get(3)? };
            Ok((row.get::<_, CustomerId>(0)?, customer))
        })?;
        let wanted: Vec<String> = search.split_whitespace().map(str::to_lowercase).collect();
        let mut found = Vec::new();
        for one in all {
            let (id, customer) = one?;
            let text = format!("{} {} {}", customer.name, customer.phone, customer.address).to_lowercase();
            if wanted.iter().all(|w| text.contains(w)) {
                found.push(CustomerLine { id, customer, jobs: jobs_of(&connection, Whose::Customer(id))? });
            }
        }
        Ok(found)
    }

    /// The other customers who have the same name or the same telephone, by number: most likely the same person, entered
    /// again with another job.
    ///
    /// # Errors
    /// Where there is no such customer or job, or the disk refuses.
    pub fn customers_alike(&self, whose: Whose) -> Result<Vec<CustomerLine>, RecordsError> {
        let id = {
            let connection = self.connection();
            // Refuses whoever is not there.
            jobs_of(&connection, whose)?;
            customer_to_erase(&connection, whose)?
        };
        let mut all = self.customers("")?;
        let Some(one) = all.iter().position(|c| Some(c.id) == id).map(|at| all.remove(at)) else {
            return Ok(Vec::new());
        };
        all.retain(|c| alike(&one.customer, &c.customer));
        Ok(all)
    }

    /// Erases somebody's data, in the file and in its companions. Again it does no harm.
    ///
    /// # Errors
    /// Where there is no such customer or job, or the disk refuses: then nothing is erased. Where another program holds the
    /// records, all is erased but old bytes may still lie in the file; the error says so and what to do.
    pub fn erase(&self, whose: Whose, on: Date) -> Result<Erased, RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        let jobs = jobs_of(&transaction, whose)?;
        let mut erased = Erased { jobs, words: 0, attachments: 0 };
        for &job in &erased.jobs {
            erased.words += transaction.execute(
                "UPDATE personal SET salt = NULL, key = NULL, says = NULL, erased = ?2 WHERE job = ?1 AND erased IS NULL",
                params![job, on.to_string()],
            )?;
            handed_over::erase(&transaction, job, &on.to_string())?;
            erased.attachments += erase_where(&transaction, "job = ?1", job, on)?;
            transaction.execute(
                "UPDATE machine SET serial = '' WHERE id = (SELECT machine FROM job WHERE id = ?1)",
                [job],
            )?;
        }
        // A machine that a job was matched to before leads to no job any more, so nobody could ask for it later.
        transaction.execute(
            "UPDATE machine SET serial = '' WHERE id NOT IN (SELECT machine FROM job WHERE machine IS NOT NULL)",
            [],
        )?;
        if let Some(id) = customer_to_erase(&transaction, whose)? {
            let name = format!("{ERASED}{on}");
            transaction.execute(
                "UPDATE customer SET name = ?2, phone = '', address = '' WHERE id = ?1",
                params![id, name],
            )?;
        }
        transaction.commit()?;
        leave_no_bytes(&connection)?;
        Ok(erased)
    }
}

/// The jobs that are meant.
pub(crate) fn jobs_of(connection: &Connection, whose: Whose) -> Result<Vec<JobId>, RecordsError> {
    match whose {
        Whose::Job(job) => {
            job_is_there(connection, job)?;
            Ok(vec![job])
        }
        Whose::Customer(id) => {
            if !connection.prepare("SELECT 1 FROM customer WHERE id = ?1")?.exists([id])? {
                return Err(RecordsError::asked(
                    format!("there is no customer {id}"),
                    "look the number up with `wattmend records customers`",
                ));
            }
            let mut statement = connection.prepare("SELECT id FROM job WHERE customer = ?1 ORDER BY id")?;
            let all = statement.query_map([id], |row| row.get(0))?;
            Ok(all.collect::<Result<_, _>>()?)
        }
    }
}

/// Have they the same name, however it is spaced and capitalised, or the same digits of a telephone?
fn alike(one: &Customer, other: &Customer) -> bool {
    let name = |c: &Customer| c.name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let phone = |c: &Customer| c.phone.chars().filter(char::is_ascii_digit).collect::<String>();
    let same = |a: String, b: String| !a.is_empty() && a == b;
    same(phone(one), phone(other)) || !one.name.starts_with(ERASED) && same(name(one), name(other))
}

/// The customer whose name goes: with a job only one that has no other.
fn customer_to_erase(connection: &Connection, whose: Whose) -> Result<Option<CustomerId>, RecordsError> {
    match whose {
        Whose::Customer(id) => Ok(Some(id)),
        Whose::Job(job) => {
            let sql = "SELECT customer FROM job j WHERE id = ?1 AND customer IS NOT NULL
                       AND NOT EXISTS (SELECT 1 FROM job o WHERE o.customer = j.customer AND o.id <> j.id)";
            Ok(connection.query_row(sql, [job], |row| row.get(0)).optional()?)
        }
    }
}

/// Writes the whole file anew without what was deleted, and empties the log of writes beside it.
fn leave_no_bytes(connection: &Connection) -> Result<(), RecordsError> {
    let held = |e: rusqlite::Error| {
        RecordsError::new(
            format!("all is erased, but old bytes may still lie in the file ({e})"),
            "end other programs that use the records, see that the disk has room for them twice, then erase again",
        )
    };
    connection.execute_batch("VACUUM").map_err(held)?;
    empty_companion(connection)
}

/// Brings the log of writes into the file and empties it, so that old bytes lie beside it no more.
pub(crate) fn empty_companion(connection: &Connection) -> Result<(), RecordsError> {
    let busy: rusqlite::Result<i64> =
        connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0));
    if busy.is_ok_and(|busy| busy == 0) {
        return Ok(());
    }
    Err(RecordsError::new(
        "all is erased, but old bytes may still lie beside the file: another program reads it",
        "end other programs that use the records, then erase again",
    ))
}
