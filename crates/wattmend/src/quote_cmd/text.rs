//! The quote, for the technician and the customer beside.

use super::Quoted;
use crate::render::Screen;
use crate::render::wrap::wrap;
use report::finding::words;
use rust_decimal::Decimal;
use worth::Quote;

/// Most cases that are listed.
const LISTED: usize = 8;

/// The whole answer.
pub(super) fn render(quoted: &Quoted<'_>, screen: &Screen) -> String {
    let plate = &quoted.found.machine.plate;
    let (q, currency) = (&quoted.quotation, quoted.prices.currency);
    let mut out = wrap("", "  ", &format!("{} {}, {}", plate.maker, plate.model, plate.kind), screen.columns);
    let taxed = taxed(quoted);
    let covers = words::per_cent(q.covers);
    let says = format!("{}{taxed}. This covers {covers} of what it may be.", q.says(currency));
    out.push_str(&wrap("\nPrice: ", "  ", &says, screen.columns));
    if quoted.found.finding.sure.is_none() {
        let text = "It is not sure yet what failed: `wattmend find` with the same evidence names the check that narrows this down.";
        out.push_str(&wrap("  ", "  ", text, screen.columns));
    }
    out.push_str("\nWhat it may be\n");
    let wide = q.quotes.iter().map(|(_, quote)| currency.number(quote.gross).len()).max().unwrap_or(0);
    for (p, quote) in q.quotes.iter().take(LISTED) {
        let amount = format!("{:>wide$}", currency.number(quote.gross));
        let first = format!("  {:>7}  {amount} {}  ", words::per_cent(*p), currency.code());
        let outside = quote.gross < q.low || quote.gross > q.high;
        let what = if outside { format!("{} (outside the range)", quote.what) } else { quote.what.clone() };
        out.push_str(&wrap(&first, &" ".repeat(wide + 17), &what, screen.columns));
    }
    if let Some(likeliest) = q.likeliest() {
        out.push_str("\nThe likeliest in detail\n");
        out.push_str(&detail(quoted, likeliest, screen));
    }
    out.push_str(&notes(quoted, screen));
    out
}

fn taxed(quoted: &Quoted<'_>) -> String {
    let tax = &quoted.prices.tax;
    if tax.parts.is_zero() && tax.labour.is_zero() {
        ", no tax".to_owned()
    } else {
        format!(", with {}", tax.name)
    }
}

fn detail(quoted: &Quoted<'_>, quote: &Quote, screen: &Screen) -> String {
    let (prices, currency) = (&quoted.prices, quoted.prices.currency);
    let mut rows: Vec<(String, Decimal)> = Vec::new();
    rows.extend(quote.lines.iter().map(|line| (line.says(), line.net)));
    if !quote.taxes.is_empty() {
        rows.push(("net".to_owned(), quote.net));
    }
    rows.extend(quote.taxes.iter().map(|t| (t.says(&prices.tax.name, currency), t.tax)));
    if !quote.rounded_by.is_zero() {
        rows.push((format!("rounded to {}", currency.number(prices.cash_step)), quote.rounded_by));
    }
    rows.push((format!("to pay, {}", currency.code()), quote.gross));
    let wide = rows.iter().map(|r| currency.number(r.1).len()).max().unwrap_or(0);
    rows.iter()
        .map(|(what, amount)| {
            let first = format!("  {:>wide$}  ", currency.number(*amount));
            wrap(&first, &" ".repeat(wide + 4), what, screen.columns)
        })
        .collect()
}

fn notes(quoted: &Quoted<'_>, screen: &Screen) -> String {
    let prices = &quoted.prices;
    let mut all = vec![format!(
        "Every line is rounded to the smallest coin, tax once on the sum; {}.",
        prices.rounding.says()
    )];
    if quoted.spent > 0 {
        all.push(format!("{} min already worked are in it.", quoted.spent));
    }
    let lines = quoted.quotation.quotes.iter().flat_map(|q| &q.1.lines);
    if lines.into_iter().any(|l| l.guessed) {
        all.push("Some prices of parts are guesses: give --price PART=MONEY.".to_owned());
    }
    if !prices.minimum_labour.is_zero() {
        all.push(format!("Labour costs at least {}.", prices.currency.format(prices.minimum_labour)));
    }
    let finding = quoted.found.finding;
    if finding.others > 0.005 {
        let others = words::per_cent(finding.others);
        all.push(format!("Not priced: suspects too unlikely to list, {others} together."));
    }
    if finding.left_out > 0.005 {
        let most = words::at_most(finding.left_out);
        all.push(format!("Not priced: sets of faults that were not looked at, at most {most} together."));
    }
    let notes = all.iter().map(|note| wrap("  note: ", "    ", note, screen.columns));
    format!("\n{}", notes.collect::<String>())
}
