//! `wattmend quote FILE`: what the repair will cost, from the same evidence as `wattmend find`.
//!
//! `asked.rs` reads the prices; `text.rs` says it, `json.rs` gives it to a program.

mod asked;
mod json;
mod text;

use crate::end::{Answer, Done, Failure};
use crate::find_cmd;
use crate::render::Screen;
use report::finding::json::Found;
use worth::{Prices, Quotation};

#[derive(clap::Args)]
#[group(id = "quote")]
#[command(mut_arg("json", |json| json.help("Print JSON (docs/json.md)")))]
pub(crate) struct Arguments {
    #[command(flatten)]
    find: find_cmd::Arguments,
    #[command(flatten)]
    asked: asked::Asked,
}

/// The prices with what they are for.
struct Quoted<'f> {
    found: &'f Found<'f>,
    prices: Prices,
    quotation: Quotation,
    /// Minutes that were worked before.
    spent: u32,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let frame = arguments.find.frame();
    let prices = arguments.asked.prices(frame)?;
    find_cmd::with_finding(&arguments.find, screen, |found, setup| {
        let of_parts = asked::parts(found.machine, frame, &prices)?;
        let spent = u32::from(arguments.asked.spent);
        let cases = worth::cases(found.machine, found.finding, &setup.costs, &of_parts, spent);
        let quotation = worth::quotation(&cases, &prices).ok_or_else(|| {
            Failure::asked_wrongly(
                "there is no suspect whose repair could be priced",
                "`wattmend find` with the same evidence says what to check next",
            )
        })?;
        let quoted = Quoted { found, prices, quotation, spent };
        let text = if arguments.find.json() {
            format!("{:#}\n", json::render(&quoted))
        } else {
            text::render(&quoted, screen)
        };
        Ok(Done::with(text))
    })
}
