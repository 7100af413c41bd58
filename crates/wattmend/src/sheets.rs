//! PDFs: sheets for teaching, written to a file; the paper that is asked for.

use crate::end::{Answer, Done, End, Failure};
use handover::{Paper, PdfError, Sheet, sheets_pdf};
use std::path::Path;

/// The paper of `--paper`.
pub(crate) fn paper(name: &str) -> Result<Paper, Failure> {
    Paper::named(name).ok_or_else(|| {
        let message = format!("--paper: `{}` is no paper known here", name.trim());
        Failure::asked_wrongly(&message, "write a4 or letter")
    })
}

/// Writes sheets as a PDF; an earlier file is replaced.
pub(crate) fn write(out: &Path, title: &str, sheets: &[Sheet], paper: Paper) -> Answer {
    let pdf = sheets_pdf(title, sheets, paper, &[]).map_err(|e| not_made(&e))?;
    std::fs::write(out, &pdf.bytes).map_err(|e| {
        Failure::new(
            End::NotWritten,
            &format!("{} cannot be written: {e}", out.display()),
            "name a file in a folder that is there and that you may write to",
        )
    })?;
    let mut text = format!("{} written, {} pages\n", out.display(), pdf.pages);
    if let Some(codes) = pdf.unshown_words() {
        text.push_str(&format!("note: no font within can show {codes}; they stand by their code\n"));
    }
    Ok(Done::with(text))
}

/// Why there is no PDF.
pub(crate) fn not_made(error: &PdfError) -> Failure {
    let remedy = match error {
        PdfError::NoFont(_) => "name a file that ends in .ttf, .otf or .ttc",
        PdfError::TooLarge(_) => "shorten it",
        PdfError::Money(_) => "write a currency of ISO 4217, such as EUR",
        PdfError::NoTypesetter => "build it without `--no-default-features`",
        PdfError::NotSet(_) => "please report this, with the file if you can",
    };
    Failure::new(End::FileRefused, &error.to_string(), remedy)
}
