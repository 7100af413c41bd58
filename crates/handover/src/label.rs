//! The label for the machine: what was tested, by whom, when again; and the same as a QR code that holds plain text only.

use crate::proof::Claim;
use crate::record::JobRecord;
use qrcode::{Color, EcLevel, QrCode};
use std::fmt;

/// The label in mm: a common roll of labels is 62 wide.
const WIDE: f64 = 62.0;
const HIGH: f64 = 30.0;

/// Side of the code with its quiet zone, mm, and that zone in modules (ISO/IEC 18004: four).
const CODE: f64 = 28.0;
const QUIET: usize = 4;

/// Longest line of text beside the code, characters; longer ones are cut with an ellipsis, in the code they are whole.
const LINE: usize = 26;

/// Longest text of one entry in the code, characters.
const ENTRY: usize = 60;

/// Why there is no label.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LabelError {
    /// Nothing was tested: a label would say nothing.
    NotTested,
    /// The text has no room in a code.
    TooLong,
}

impl fmt::Display for LabelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            LabelError::NotTested => "no safety test is recorded, so there is nothing to put on a label",
            LabelError::TooLong => "the text is too long for a QR code",
        })
    }
}

impl std::error::Error for LabelError {}

/// What the label says, a line each; the first is the verdict. This text stands in the code as well.
fn entries(record: &JobRecord) -> Result<Vec<String>, LabelError> {
    let proof = record.proof.as_ref().ok_or(LabelError::NotTested)?;
    let said = |name: &str, value: &str| (!value.is_empty()).then(|| format!("{name}{}", cut(value, ENTRY)));
    let day = |d: Option<jiff::civil::Date>| d.map_or(String::new(), |d| d.to_string());
    let passed = proof.claim() == Claim::Passed;
    let entries = [
        Some(proof.claim().short().to_owned()),
        said("", &record.machine.name()),
        said("serial ", &record.machine.serial),
        said("tested ", &day(proof.on)),
        said("by ", &record.firm.technician),
        said("", &record.firm.party.name),
        // What has not passed is not due again: it is due now.
        said("next due ", &day(proof.next_due.filter(|_| passed))),
        said("job ", &record.reference),
    ];
    Ok(entries.into_iter().flatten().collect())
}

/// The label as an SVG document, 62 mm × 30 mm, black on white.
///
/// # Errors
/// Where nothing was tested, or the text has no room in a code.
pub fn label_svg(record: &JobRecord) -> Result<String, LabelError> {
    let entries = entries(record)?;
    let code = QrCode::with_error_correction_level(entries.join("\n"), EcLevel::M)
        .map_err(|_| LabelError::TooLong)?;
    let says = escaped(&entries.join("; "));
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDE}mm\" height=\"{HIGH}mm\" viewBox=\"0 0 {WIDE} {HIGH}\" \
         role=\"img\">\n<title>{says}</title>\n<rect width=\"{WIDE}\" height=\"{HIGH}\" fill=\"#fff\"/>\n\
         <g fill=\"#000\" font-family=\"sans-serif\">\n"
    );
    for (at, entry) in entries.iter().enumerate() {
        let first = at == 0;
        let (y, size, weight) =
            if first { (4.6, 2.5, " font-weight=\"bold\"") } else { (5.0 + 3.3 * at as f64, 2.3, "") };
        out.push_str(&format!(
            "<text x=\"2\" y=\"{y:.1}\" font-size=\"{size}\"{weight}>{}</text>\n",
            escaped(&cut(entry, LINE))
        ));
    }
    let module = CODE / (code.width() + 2 * QUIET) as f64;
    out.push_str(&format!(
        "</g>\n<g transform=\"translate({:.3} {:.3}) scale({module:.5})\">\n<path fill=\"#000\" shape-rendering=\"crispEdges\" d=\"{}\"/>\n</g>\n</svg>\n",
        WIDE - CODE - 1.0,
        (HIGH - CODE) / 2.0,
        modules(&code)
    ));
    Ok(out)
}

/// The dark modules as runs along the rows, with the quiet zone kept free.
fn modules(code: &QrCode) -> String {
    let wide = code.width();
    let colors = code.to_colors();
    let mut path = String::new();
    for (y, row) in colors.chunks(wide).enumerate() {
        let mut x = 0;
        while x < wide {
            let run = row[x..].iter().take_while(|c| **c == Color::Dark).count();
            if run > 0 {
                path.push_str(&format!("M{} {}h{run}v1h-{run}z", x + QUIET, y + QUIET));
            }
            x += run.max(1);
        }
    }
    path
}

fn cut(text: &str, most: usize) -> String {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.chars().count() <= most {
        return text;
    }
    let kept: String = text.chars().take(most - 1).collect();
    format!("{}…", kept.trim_end())
}

/// Text for an element; control characters, which XML cannot hold, are gone with the blanks in `cut`, or replaced here.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if c.is_control() => out.push('\u{fffd}'),
            c => out.push(c),
        }
        out
    })
}
