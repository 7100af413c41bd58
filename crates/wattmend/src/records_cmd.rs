//! `wattmend records`: backup and the way back, the check of everything, export and import, what a customer may ask for.

use crate::end::{Answer, Done, End, Failure};
use crate::serve_cmd::own_folder;
use records::{About, Checked, Counted, CustomerId, CustomerLine, JobId, Records, RecordsError, Whose};
use server::Desk;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

#[derive(clap::Subcommand)]
pub(crate) enum Command {
    /// Copy the records to a new file, also while the bench runs
    Backup {
        /// The new file
        file: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Put a backup in the place of the records; end the bench first
    Restore {
        /// The backup
        file: PathBuf,
        /// Also where records are; they are kept beside it
        #[arg(long)]
        replace: bool,
        #[command(flatten)]
        of: Of,
    },
    /// Look at every page of the records, read every entry and sample, go along every chain
    Check {
        #[command(flatten)]
        of: Of,
    },
    /// Work out anew what the list of jobs says, from the logs
    Rebuild {
        #[command(flatten)]
        of: Of,
    },
    /// Write everything to a new folder, in open formats
    Export {
        /// The new folder
        folder: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Read an export into records that are empty
    Import {
        /// The folder of the export
        folder: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// List customers with their numbers and jobs; who came again with another job has another number
    Customers {
        /// Words of the name, telephone or address
        search: Vec<String>,
        #[command(flatten)]
        of: Of,
    },
    /// Write what is kept under a customer's number to a new folder, to give it to that customer
    HandOver {
        #[command(flatten)]
        whose: OfWhom,
        /// The new folder
        folder: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Erase name, words, pictures and serial numbers under a customer's number for good; the technical part of the jobs
    /// stays. Other numbers with the same name or telephone are listed
    Erase {
        #[command(flatten)]
        whose: OfAllOfThese,
        /// Yes, for good
        #[arg(long)]
        yes: bool,
        #[command(flatten)]
        of: Of,
    },
    /// Let go of old samples that belong to no job, for good
    LetGo {
        /// Older than so many days; remembered for the next time
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u16).range(1..))]
        older_than: Option<u16>,
        #[command(flatten)]
        of: Of,
    },
}

#[derive(clap::Args)]
pub(crate) struct Of {
    /// Folder of the records
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

#[derive(clap::Args)]
#[group(required = true, multiple = false)]
pub(crate) struct OfWhom {
    /// Number of the customer
    #[arg(long, value_name = "N")]
    customer: Option<CustomerId>,
    /// Number of a job whose customer has no name
    #[arg(long, value_name = "N")]
    job: Option<JobId>,
}

impl OfWhom {
    fn whose(&self) -> Whose {
        match (self.customer, self.job) {
            (Some(customer), _) => Whose::Customer(customer),
            // clap asks for one of the two.
            (None, job) => Whose::Job(job.unwrap_or_default()),
        }
    }
}

#[derive(clap::Args)]
#[group(required = true, multiple = false)]
pub(crate) struct OfAllOfThese {
    /// Number of the customer; again for each further one
    #[arg(long, value_name = "N")]
    customer: Vec<CustomerId>,
    /// Number of a job whose customer has no name
    #[arg(long, value_name = "N")]
    job: Option<JobId>,
}

impl OfAllOfThese {
    fn whose(&self) -> Vec<Whose> {
        let customers = self.customer.iter().map(|n| Whose::Customer(*n));
        customers.chain(self.job.map(Whose::Job)).collect()
    }
}

impl Of {
    fn folder(&self) -> Result<PathBuf, Failure> {
        self.data.clone().map_or_else(own_folder, Ok)
    }

    fn file(&self) -> Result<PathBuf, Failure> {
        Ok(self.folder()?.join("records.sqlite"))
    }

    fn open(&self) -> Result<Records, Failure> {
        let file = self.file()?;
        if !file.exists() {
            return Err(Failure::new(
                End::FileRefused,
                &format!("there are no records in {}", self.folder()?.display()),
                "name their folder with --data; `wattmend serve` starts new ones",
            ));
        }
        Ok(Records::open(&file)?)
    }

    /// The folder, made where it is not there.
    fn make(&self) -> Result<PathBuf, Failure> {
        let folder = self.folder()?;
        std::fs::create_dir_all(&folder).map_err(|e| {
            Failure::new(
                End::NotWritten,
                &format!("the folder {} cannot be made: {e}", folder.display()),
                "name one that you may write to with --data",
            )
        })?;
        self.file()
    }
}

/// Runs it.
pub(crate) fn run(command: &Command) -> Answer {
    let text = match command {
        Command::Backup { file, of } => {
            of.open()?.backup(file)?;
            format!("Backup written: {}\n", file.display())
        }
        Command::Restore { file, replace, of } => {
            let restored = Records::restore(file, &of.make()?, *replace)?;
            let kept = restored
                .replaced
                .map_or(String::new(), |p| format!("The records before are kept in {}.\n", p.display()));
            format!("Restored: {}.\n{kept}", counts(&restored.checked))
        }
        Command::Check { of } => check(&of.open()?)?,
        Command::Rebuild { of } => rebuild(of)?,
        Command::Export { folder, of } => {
            let counted = of.open()?.export(folder, &server::now())?;
            format!("Exported to {}: {}.\n", folder.display(), counted_in_words(&counted))
        }
        Command::Import { folder, of } => {
            let counted = Records::open(&of.make()?)?.import(folder)?;
            format!("Imported: {}.\n", counted_in_words(&counted))
        }
        Command::Customers { search, of } => customers(&of.open()?, &search.join(" "))?,
        Command::HandOver { whose, folder, of } => {
            let records = of.open()?;
            let counted = records.hand_over(whose.whose(), folder)?;
            let alike = alike(&records, &[whose.whose()])?;
            let more = if alike.is_empty() {
                String::new()
            } else {
                format!("{ALIKE}:\n{}Hand those over too, each to a folder of its own.\n", lines(&alike))
            };
            format!("Written to {}: {}.\n{more}", folder.display(), counted_in_words(&counted))
        }
        Command::Erase { whose, yes, of } => erase(&of.open()?, &whose.whose(), *yes)?,
        Command::LetGo { older_than, of } => let_go(&of.open()?, *older_than)?,
    };
    Ok(Done::with(text))
}

fn check(records: &Records) -> Result<String, Failure> {
    let checked = records.check()?;
    if let [first, ..] = checked.wrong.as_slice() {
        return Err(Failure::new(
            End::FileRefused,
            &format!("{} things are wrong, the first: {first}", checked.wrong.len()),
            "copy the folder aside, then go back to the last backup with `wattmend records restore FILE --replace`",
        ));
    }
    Ok(format!("All is well: {}.\n", counts(&checked)))
}

fn counts(checked: &Checked) -> String {
    let Checked { jobs, entries, samples, attachments, .. } = checked;
    counted_in_words(&Counted {
        jobs: *jobs,
        entries: *entries,
        samples: *samples,
        attachments: *attachments,
    })
}

fn counted_in_words(counted: &Counted) -> String {
    let Counted { jobs, entries, samples, attachments } = counted;
    format!("{jobs} jobs, {entries} entries, {samples} samples, {attachments} attachments")
}

fn rebuild(of: &Of) -> Result<String, Failure> {
    // Looked at first: a folder without records is not made into one.
    drop(of.open()?);
    let desk = Arc::new(Desk::open(&of.folder()?, false)?);
    let rebuilt = server::rebuild(&desk)?;
    let refused = rebuilt.refused.iter().map(|(job, why)| format!("Job {job}: {why}\n"));
    Ok(format!("Worked out anew: {} jobs.\n{}", rebuilt.jobs, refused.collect::<String>()))
}

fn customers(records: &Records, search: &str) -> Result<String, Failure> {
    let all = records.customers(search)?;
    if all.is_empty() {
        return Ok("No customer has these words.\n".to_owned());
    }
    Ok(lines(&all))
}

fn lines(customers: &[CustomerLine]) -> String {
    let line = |c: &CustomerLine| {
        let who = [&c.customer.name, &c.customer.phone, &c.customer.address];
        let who: Vec<&str> = who.into_iter().map(String::as_str).filter(|w| !w.is_empty()).collect();
        let jobs: Vec<String> = c.jobs.iter().map(ToString::to_string).collect();
        format!("{:>6}  {}  (jobs: {})\n", c.id, who.join(", "), jobs.join(", "))
    };
    customers.iter().map(line).collect()
}

const ALIKE: &str = "The same name or telephone, most likely the same person";

/// Customers with the same name or telephone as one of these, who are none of these themselves.
fn alike(records: &Records, whose: &[Whose]) -> Result<Vec<CustomerLine>, Failure> {
    let mut all: Vec<CustomerLine> = Vec::new();
    for one in whose {
        for other in records.customers_alike(*one)? {
            if !whose.contains(&Whose::Customer(other.id)) && all.iter().all(|c| c.id != other.id) {
                all.push(other);
            }
        }
    }
    Ok(all)
}

fn erase(records: &Records, whose: &[Whose], yes: bool) -> Result<String, Failure> {
    // Asked before: afterwards nobody knows the name.
    let alike = alike(records, whose)?;
    let numbers = alike.iter().map(|c| format!(" --customer {}", c.id)).collect::<Vec<_>>().concat();
    if !yes {
        let more = if alike.is_empty() {
            String::new()
        } else {
            format!(
                "; name also the numbers with the same name or telephone if they are the same person:{numbers}"
            )
        };
        return Err(Failure::new(
            End::WrongUse,
            "what is erased is gone for good",
            &format!(
                "hand it over first if it was asked for (`wattmend records hand-over`), then say --yes{more}"
            ),
        ));
    }
    let (mut words, mut attachments, mut jobs) = (0, 0, 0);
    for one in whose {
        let erased = records.erase(*one, server::now().date())?;
        words += erased.words;
        attachments += erased.attachments;
        jobs += erased.jobs.len();
    }
    let mut text = format!(
        "Erased: the words of {words} entries, {attachments} attachments, name and serial number, in {jobs} jobs.\n\
         Backups and exports made before still hold them: let go of those too.\n"
    );
    let kept = kept_by_restoring(records.path());
    if !kept.is_empty() {
        text.push_str(&format!(
            "So may the records that were put aside by a restore: {}.\n",
            kept.join(", ")
        ));
    }
    if !alike.is_empty() {
        text.push_str(&format!(
            "{ALIKE}, NOT erased:\n{}To erase those too: wattmend records erase{numbers} --yes\n",
            lines(&alike)
        ));
    }
    Ok(text)
}

/// Older records that a restore kept beside these.
fn kept_by_restoring(file: &Path) -> Vec<String> {
    let start = format!("{}.replaced-", file.file_name().unwrap_or_default().display());
    let folder = file.parent().and_then(|folder| std::fs::read_dir(folder).ok());
    let paths = folder.into_iter().flatten().filter_map(|entry| Some(entry.ok()?.path()));
    let ours = |path: &PathBuf| path.file_name().is_some_and(|n| n.to_string_lossy().starts_with(&start));
    let mut kept: Vec<String> = paths.filter(ours).map(|path| path.display().to_string()).collect();
    kept.sort();
    kept
}

fn let_go(records: &Records, older_than: Option<u16>) -> Result<String, Failure> {
    if let Some(days) = older_than {
        records.keep_days_of_samples(days)?;
    }
    let Some(days) = records.days_of_samples()? else {
        return Err(Failure::new(
            End::WrongUse,
            "nobody has said how old samples must be to be let go of",
            "say --older-than DAYS; it is remembered",
        ));
    };
    let before = server::now().timestamp() - Duration::from_secs(u64::from(days) * 86_400);
    let dropped = records.drop_unattached(before)?;
    Ok(format!("Let go of {dropped} samples of no job, older than {days} days.\n"))
}

impl From<RecordsError> for Failure {
    fn from(error: RecordsError) -> Failure {
        let end = match error.about {
            About::Records => End::FileRefused,
            About::Asked => End::AskedWrongly,
            About::Output => End::NotWritten,
        };
        Failure::new(end, &error.message, &error.remedy)
    }
}
