//! `wattmend records`: backup while the bench runs, and the check of everything.

use crate::end::{Answer, Done, End, Failure};
use crate::serve_cmd::own_folder;
use records::{Records, RecordsError};
use std::path::PathBuf;

#[derive(clap::Subcommand)]
pub(crate) enum Command {
    /// Copy the records to a new file, also while the bench runs
    Backup {
        /// The new file
        file: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Look at every page of the records and read every entry
    Check {
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

impl Of {
    fn open(&self) -> Result<Records, Failure> {
        let folder = self.data.clone().map_or_else(own_folder, Ok)?;
        let file = folder.join("records.sqlite");
        if !file.exists() {
            return Err(Failure::new(
                End::FileRefused,
                &format!("there are no records in {}", folder.display()),
                "name their folder with --data; `wattmend serve` starts new ones",
            ));
        }
        Ok(Records::open(&file)?)
    }
}

/// Runs it.
pub(crate) fn run(command: &Command) -> Answer {
    match command {
        Command::Backup { file, of } => {
            of.open()?.backup(file).map_err(|e| Failure::new(End::NotWritten, &e.message, &e.remedy))?;
            Ok(Done::with(format!("Backup written: {}\n", file.display())))
        }
        Command::Check { of } => {
            let checked = of.open()?.check()?;
            if let [first, ..] = checked.wrong.as_slice() {
                return Err(Failure::new(
                    End::FileRefused,
                    &format!("{} things are wrong, the first: {first}", checked.wrong.len()),
                    "copy the folder aside, then go back to the last backup",
                ));
            }
            Ok(Done::with(format!("All is well: {} jobs, {} entries.\n", checked.jobs, checked.entries)))
        }
    }
}

impl From<RecordsError> for Failure {
    fn from(error: RecordsError) -> Failure {
        Failure::new(End::FileRefused, &error.message, &error.remedy)
    }
}
