//! The only place that knows typst: a template, its data and pictures in, a PDF out.

use super::PdfError;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::LazyLock;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// Documents that may pass before what typst remembers of one is forgotten.
const REMEMBERED: usize = 4;

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));

/// The fonts that come along: Libertinus Serif, New Computer Modern, DejaVu Sans Mono.
static SHIPPED: LazyLock<Vec<Font>> = LazyLock::new(|| typst_kit::fonts::embedded().map(|f| f.0).collect());

/// Fonts to set a document with: the shipped ones, then those of the user.
pub(super) struct Fonts {
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
}

impl Fonts {
    /// The shipped fonts, and these files beside. What is no font is refused by its place in the list.
    pub(super) fn with(files: &[Vec<u8>]) -> Result<Fonts, PdfError> {
        let mut fonts = SHIPPED.clone();
        for (at, file) in files.iter().enumerate() {
            let before = fonts.len();
            fonts.extend(Font::iter(Bytes::new(file.clone())));
            if fonts.len() == before {
                return Err(PdfError::NoFont(at));
            }
        }
        Ok(Fonts { book: LazyHash::new(FontBook::from_fonts(&fonts)), fonts })
    }

    /// Some font can show this character. Characters that only steer or part the text need none.
    pub(super) fn show(&self, c: char) -> bool {
        c == '\n' || c == '\t' || self.fonts.iter().any(|f| f.info().coverage.contains(u32::from(c)))
    }

    /// Those of a text that no font can show.
    pub(super) fn unshown(&self, text: &str, into: &mut BTreeSet<char>) {
        into.extend(text.chars().filter(|c| !self.show(*c)));
    }
}

/// A document to be set: file names to contents; `main.typ` is where it begins.
pub(super) struct Job<'f> {
    pub(super) template: &'static str,
    pub(super) files: BTreeMap<String, Vec<u8>>,
    pub(super) fonts: &'f Fonts,
    /// Its day, which PDF/A demands.
    pub(super) date: Option<Date>,
}

struct Desk<'f> {
    main: FileId,
    source: Source,
    files: HashMap<FileId, Bytes>,
    fonts: &'f Fonts,
}

impl World for Desk<'_> {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.fonts.book
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main { Ok(self.source.clone()) } else { Err(missing(id)) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or_else(|| missing(id))
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

fn missing(id: FileId) -> FileError {
    FileError::NotFound(id.vpath().get_without_slash().into())
}

fn id(name: &str) -> Result<FileId, PdfError> {
    let path = VirtualPath::new(name).map_err(|e| PdfError::NotSet(format!("{name}: {e:?}")))?;
    // The same few names every time: file ids live as long as the program.
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

/// Sets the document. Gives the PDF, which keeps to PDF/UA-1 and, where it has a date, to PDF/A-2a, and its number of pages.
pub(super) fn set(job: Job<'_>) -> Result<(Vec<u8>, usize), PdfError> {
    let main = id("main.typ")?;
    let mut files = HashMap::new();
    for (name, bytes) in job.files {
        files.insert(id(&name)?, Bytes::new(bytes));
    }
    let desk = Desk { main, source: Source::new(main, job.template.to_owned()), files, fonts: job.fonts };
    let document: PagedDocument = typst::compile(&desk).output.map_err(|e| not_set(&e))?;
    let day = job.date.and_then(|d| {
        let (year, month, day) =
            (i32::from(d.year()), u8::try_from(d.month()).ok()?, u8::try_from(d.day()).ok()?);
        Datetime::from_ymd_hms(year, month, day, 0, 0, 0)
    });
    let standards: &[PdfStandard] =
        if day.is_some() { &[PdfStandard::A_2a, PdfStandard::Ua_1] } else { &[PdfStandard::Ua_1] };
    let options = PdfOptions {
        standards: PdfStandards::new(standards).map_err(|e| PdfError::NotSet(e.message().to_string()))?,
        creator: Smart::Custom(Some("Wattmend".into())),
        timestamp: day.map(Timestamp::new_utc),
        ..PdfOptions::default()
    };
    let bytes = typst_pdf::pdf(&document, &options).map_err(|e| not_set(&e));
    let pages = document.pages().len();
    typst::comemo::evict(REMEMBERED);
    Ok((bytes?, pages))
}

fn not_set(errors: &[SourceDiagnostic]) -> PdfError {
    let text: Vec<&str> = errors.iter().take(3).map(|e| e.message.as_str()).collect();
    PdfError::NotSet(text.join("; "))
}
