//! What every request shares: the records, the machine files, what was worked out.

use crate::ServeError;
use crate::capture::Capture;
use crate::fonts::Fonts;
use crate::library::Library;
use crate::live::{ByItself, Tests};
use crate::meters_file::MetersFile;
use crate::pages::PagesKept;
use crate::problem::Problem;
use crate::seats::Seats;
use crate::spoken::Language;
use crate::worked_out::Kept;
use machine::model::Machine;
use records::{Job, JobId, Records, RecordsError};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use tokio::sync::{Semaphore, SemaphorePermit, watch};

/// The desk.
pub struct Desk {
    records: Arc<Records>,
    pub(crate) library: Library,
    pub(crate) kept: Kept,
    pub(crate) seats: Seats,
    pub(crate) pages: PagesKept,
    /// Which language the pages speak.
    pub(crate) language: Language,
    fonts: Arc<Fonts>,
    /// Where a file stands that is about to be sent, one at a time.
    leaving: Arc<Mutex<PathBuf>>,
    /// So many findings are worked out at once; more would only slow each other down.
    workers: Semaphore,
    /// One page is set at a time: it takes memory, and all of a core.
    typesetting: Semaphore,
    pub(crate) demo: bool,
    pub(crate) capture: Arc<Capture>,
    pub(crate) tests: Tests,
    pub(crate) by_itself: ByItself,
    pub(crate) meters: MetersFile,
    /// Set when the bench closes: what streams to a page ends then.
    pub(crate) closing: watch::Sender<bool>,
}

impl Desk {
    /// Opens the records and machine files in this folder; makes it where it is not there. A demo says so on every page.
    ///
    /// # Errors
    /// Where the folder cannot be made or the records refuse.
    pub fn open(folder: &Path, demo: bool) -> Result<Desk, ServeError> {
        std::fs::create_dir_all(folder.join("machines")).map_err(|e| ServeError {
            message: format!("the folder {} cannot be made: {e}", folder.display()),
            remedy: "name one that you may write to with --data".to_owned(),
        })?;
        let records = Arc::new(
            Records::open(&folder.join("records.sqlite"))
                .map_err(|RecordsError { message, remedy, .. }| ServeError { message, remedy })?,
        );
        let at_once = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
        Ok(Desk {
            capture: Capture::new(records.clone()),
            language: Language::kept(&records),
            tests: Tests::default(),
            by_itself: ByItself::default(),
            meters: MetersFile::at(folder.join("meters.toml")),
            closing: watch::Sender::new(false),
            records,
            library: Library::new(folder.join("machines")),
            kept: Kept::default(),
            seats: Seats::default(),
            pages: PagesKept::default(),
            fonts: Arc::new(Fonts::in_folder(folder.join("fonts"))),
            leaving: Arc::new(Mutex::new(folder.join("leaving"))),
            workers: Semaphore::new(at_once),
            typesetting: Semaphore::new(1),
            demo,
        })
    }

    /// Takes the sockets and their meters from this file instead of the one in the folder.
    pub fn use_meters(&self, file: &Path) {
        self.meters.move_to(file.to_owned());
    }

    /// The records.
    pub fn records(&self) -> &Records {
        &self.records
    }

    /// Fonts for the papers.
    pub(crate) fn fonts(&self) -> Arc<Fonts> {
        self.fonts.clone()
    }

    /// Where a file stands that is about to be sent; who holds it writes it.
    pub(crate) fn leaving(&self) -> Arc<Mutex<PathBuf>> {
        self.leaving.clone()
    }

    /// Does something with the records, where waiting for the disk holds nobody else up.
    pub(crate) async fn with_records<T: Send + 'static>(
        self: &Arc<Self>,
        does: impl FnOnce(&Records) -> Result<T, RecordsError> + Send + 'static,
    ) -> Result<T, Problem> {
        let desk = self.clone();
        let done = tokio::task::spawn_blocking(move || does(&desk.records)).await;
        Ok(done.map_err(|_| Problem::ours("the records broke off"))??)
    }

    /// A turn at working something out.
    pub(crate) async fn turn(&self) -> Result<SemaphorePermit<'_>, Problem> {
        self.workers.acquire().await.map_err(|_| Problem::ours("the bench is closing"))
    }

    /// Works something out, where that holds nobody else up.
    pub(crate) async fn work<T: Send + 'static>(
        &self,
        does: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let _turn = self.turn().await?;
        tokio::task::spawn_blocking(does).await.map_err(|_| Problem::ours("this could not be worked out"))
    }

    /// Sets pages, one after the other, where that holds nobody else up.
    pub(crate) async fn set<T: Send + 'static>(
        &self,
        does: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let turn = self.typesetting.acquire().await.map_err(|_| Problem::ours("the bench is closing"))?;
        let set = tokio::task::spawn_blocking(does).await;
        drop(turn);
        set.map_err(|_| Problem::ours("this could not be set"))
    }

    /// The job with this number.
    pub(crate) async fn job(self: &Arc<Self>, id: JobId) -> Result<Job, Problem> {
        let found = self.with_records(move |r| r.job(id)).await?;
        found.ok_or_else(|| Problem::not_there(&format!("job {id}")))
    }

    /// The machine of a job, from the text that is kept with it; none where it has no machine file yet.
    pub(crate) fn machine_of(&self, job: &Job) -> Result<Option<Arc<Machine>>, Problem> {
        let Some(known) = job.machine.as_ref().filter(|m| !m.file_text.is_empty()) else { return Ok(None) };
        match self.library.read(&Arc::from(known.file_text.as_str()), &known.variant) {
            (Some(machine), _) => Ok(Some(machine)),
            (None, diagnostics) => Err(Problem::refused(
                format!(
                    "the machine file {} has errors: {}",
                    known.file_name,
                    diagnostics.first().map_or("", |d| d.message.as_str())
                ),
                "mend it (the page Machines shows where), then match it to the job again",
            )),
        }
    }
}
