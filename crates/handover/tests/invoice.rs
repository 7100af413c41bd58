//! The invoice adds up, says what is missing, and holds what a program needs to find.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod common;

use std::path::Path;
use std::process::Command;

use common::{d, prices, repair};
use handover::{Bill, JobRecord, lines_csv, ubl};
use rust_decimal::Decimal;
use worth::Rounding;

fn all(xml: &str, name: &str) -> Vec<String> {
    let doc = roxmltree::Document::parse(xml).unwrap();
    let found = doc.descendants().filter(|n| n.tag_name().name() == name);
    found.map(|n| n.text().unwrap_or_default().to_owned()).collect()
}

fn one(xml: &str, name: &str) -> Decimal {
    let found = all(xml, name);
    assert_eq!(found.len(), 1, "{name}: {found:?}");
    d(&found[0])
}

/// The rules of EN 16931 on sums: BR-CO-10, BR-CO-13, BR-CO-14, BR-CO-15, BR-CO-16, BR-CO-17, BR-S-08.
fn adds_up(xml: &str) {
    let doc = roxmltree::Document::parse(xml).unwrap();
    let amount = |node: roxmltree::Node<'_, '_>, name: &str| {
        let found = node.descendants().find(|n| n.tag_name().name() == name);
        found.map_or(Decimal::ZERO, |n| d(n.text().unwrap()))
    };
    let under = |name: &'static str| doc.descendants().filter(move |n| n.tag_name().name() == name);
    let total = under("LegalMonetaryTotal").next().unwrap();
    let lines: Decimal = under("InvoiceLine").map(|l| amount(l, "LineExtensionAmount")).sum();
    assert_eq!(lines, amount(total, "LineExtensionAmount"), "BR-CO-10");
    assert_eq!(lines, amount(total, "TaxExclusiveAmount"), "BR-CO-13");
    let taxes: Decimal = under("TaxSubtotal").map(|t| amount(t, "TaxAmount")).sum();
    assert_eq!(taxes, amount(under("TaxTotal").next().unwrap(), "TaxAmount"), "BR-CO-14");
    assert_eq!(lines + taxes, amount(total, "TaxInclusiveAmount"), "BR-CO-15");
    let due = amount(total, "TaxInclusiveAmount") + amount(total, "PayableRoundingAmount");
    assert_eq!(due, amount(total, "PayableAmount"), "BR-CO-16");
    for sub in under("TaxSubtotal") {
        let (base, rate) = (amount(sub, "TaxableAmount"), amount(sub, "Percent"));
        assert!((amount(sub, "TaxAmount") - base * rate / d("100")).abs() <= d("0.005"), "BR-CO-17");
        let of_rate = under("InvoiceLine").filter(|l| amount(*l, "Percent") == rate);
        assert_eq!(of_rate.map(|l| amount(l, "LineExtensionAmount")).sum::<Decimal>(), base, "BR-S-08");
    }
}

/// What `peers/en16931.py` says of an invoice: whether it keeps the schema of UBL 2.1 and CEN's own rules for EN 16931.
/// Nothing where the peers are not asked for; asked for (`WATTMEND_PEERS`, as CI does), a peer that is missing is a failure.
fn judged(xml: &str) -> Option<(bool, String)> {
    std::env::var_os("WATTMEND_PEERS")?;
    let python = std::env::var("WATTMEND_PEERS_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("invoice.xml");
    std::fs::write(&file, xml).unwrap();
    let peer = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers/en16931.py");
    let out = Command::new(&python).arg(peer).arg(&file).output().unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    assert!(said.contains("rules applied"), "{python}: {said}");
    Some((out.status.success(), said))
}

/// It keeps schema and rules.
fn conforms(xml: &str) {
    adds_up(xml);
    if let Some((kept, said)) = judged(xml) {
        assert!(kept, "{said}");
    }
}

#[test]
fn the_rules_find_what_is_wrong() {
    let xml = ubl(&common::job()).unwrap();
    let country = xml.replace("<cbc:IdentificationCode>IE<", "<cbc:IdentificationCode>XQ<");
    let total = xml.replace(">164.35<", ">164.36<");
    let element = xml.replace("cbc:DocumentCurrencyCode>", "cbc:DocumentCurrency>");
    for (wrong, rule) in [(country, "BR-CL-14"), (total, "BR-CO-1"), (element, "schema: ")] {
        assert_ne!(wrong, xml);
        if let Some((kept, said)) = judged(&wrong) {
            assert!(!kept && said.contains(rule), "{rule}: {said}");
        }
    }
}

#[test]
fn an_invoice_adds_up_as_the_quote_does() {
    let xml = ubl(&common::job()).unwrap();
    conforms(&xml);
    assert_eq!(one(&xml, "PayableAmount"), d("164.35"));
    assert_eq!(all(&xml, "PriceAmount"), ["62.00", "25.00", "47.50", "0.41"]);
    assert_eq!(all(&xml, "DocumentCurrencyCode"), ["EUR"]);
}

/// Worked by hand: labour 90 min at 60 is 90.00 at 10 %, a part 100.10 at 21 %; 9.00 and 21.021, so 21.02; in all 220.12,
/// paid in steps of 0.05: 220.10.
#[test]
fn two_rates_and_a_cash_step() {
    let mut prices = prices("EUR");
    prices.travel = Decimal::ZERO;
    prices.mark_up = Decimal::ZERO;
    (prices.tax.labour, prices.tax.parts, prices.cash_step) = (d("0.1"), d("0.21"), d("0.05"));
    let mut repair = repair();
    repair.minutes = 90;
    repair.parts.truncate(1);
    repair.parts[0].price = d("100.10");
    let mut job = common::job();
    let bill = Bill::of(&worth::quote(&repair, &prices), &prices);
    job.bill = Some(Bill { number: "7".to_owned(), terms: "at once & in cash".to_owned(), ..bill });
    let xml = ubl(&job).unwrap();
    conforms(&xml);
    assert_eq!(one(&xml, "TaxInclusiveAmount"), d("220.12"));
    assert_eq!(one(&xml, "PayableRoundingAmount"), d("-0.02"));
    assert_eq!(one(&xml, "PayableAmount"), d("220.10"));
    assert_eq!(all(&xml, "Note"), ["at once & in cash"]);
}

#[test]
fn what_bears_no_tax_is_said_why() {
    let mut prices = prices("JPY");
    (prices.tax.labour, prices.tax.parts) = (Decimal::ZERO, Decimal::ZERO);
    prices.rounding = Rounding::HalfEven;
    let mut job = common::job();
    job.firm.party.vat = String::new();
    job.firm.registration = "HRA 4711".to_owned();
    let bill = Bill::of(&worth::quote(&repair(), &prices), &prices);
    job.bill = Some(Bill { number: "8".to_owned(), terms: "now".to_owned(), ..bill });
    let xml = ubl(&job).unwrap();
    conforms(&xml);
    assert_eq!(all(&xml, "TaxExemptionReason"), ["Not subject to VAT"]);
    assert_eq!(all(&xml, "Percent"), Vec::<String>::new());
    // With an identifier the firm is exempt, and must say why.
    job.firm.party.vat = "IE1234567FA".to_owned();
    assert!(ubl(&job).unwrap_err().message.contains("reason"));
    job.bill.as_mut().unwrap().untaxed = "Small enterprise".to_owned();
    conforms(&ubl(&job).unwrap());
}

#[test]
fn what_is_missing_is_named() {
    let change = |change: fn(&mut JobRecord)| {
        let mut job = common::job();
        change(&mut job);
        ubl(&job).unwrap_err().to_string()
    };
    for (said, error) in [
        ("there is no price", change(|j| j.bill = None)),
        ("its number", change(|j| j.bill.as_mut().unwrap().number.clear())),
        ("its date", change(|j| j.date = None)),
        ("country of the customer", change(|j| j.customer.country = "Eire".to_owned())),
        ("VAT identifier", change(|j| j.firm.party.vat.clear())),
        ("when it is to be paid", change(|j| j.bill.as_mut().unwrap().due = None)),
        ("BHD has 3", change(|j| j.bill.as_mut().unwrap().currency = "BHD".to_owned())),
    ] {
        assert!(error.contains(said), "“{said}” is not in “{error}”");
    }
}

#[test]
fn texts_do_not_break_out_of_the_file() {
    let mut job = common::job();
    job.customer.name = "A <b> & \"Co\" \u{1} ]]>".to_owned();
    job.bill.as_mut().unwrap().lines[0].what = "=1+1,\"x\"\n2".to_owned();
    let xml = ubl(&job).unwrap();
    conforms(&xml);
    assert!(all(&xml, "RegistrationName").contains(&"A <b> & \"Co\" \u{fffd} ]]>".to_owned()));
    let mut rows = csv::ReaderBuilder::new().from_reader(std::io::Cursor::new(lines_csv(&job).unwrap()));
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 4);
    assert_eq!(&rows[0][3], "'=1+1,\"x\"\n2");
    assert_eq!(&rows[3][5], "0.41");
}

/// Totals of the example invoices that CEN/TC 434 publishes with its rules for EN 16931 (github.com/ConnectingEurope/
/// eInvoicing-EN16931, `ubl/examples/ubl-tc434-example{2,5,9}.xml`, Apache-2.0): taxable amounts and rates are theirs, labour and
/// travel standing for one rate, a part for the other.
#[test]
fn published_invoices_come_to_the_same_totals() {
    let bill = |labour: (&str, &str), parts: (&str, &str, u32), paid: &str| {
        let mut prices = prices("EUR");
        (prices.labour_per_hour, prices.minimum_labour, prices.travel) = (d("0"), d("0"), d(labour.0));
        prices.mark_up = Decimal::ZERO;
        (prices.tax.labour, prices.tax.parts) = (d(labour.1), d(parts.1));
        let part = worth::Part {
            what: "part".to_owned(),
            order: String::new(),
            price: d(parts.0),
            guessed: false,
            quantity: parts.2,
        };
        let quote =
            worth::quote(&worth::Repair { what: String::new(), minutes: 0, parts: vec![part] }, &prices);
        Bill { paid: d(paid), ..Bill::of(&quote, &prices) }
    };
    // Example 9: 3 at 49.00, 21 %.
    let nine = bill(("0", "0.21"), ("49.00", "0.21", 3), "0");
    assert_eq!((nine.net, nine.tax(), nine.gross), (d("147.00"), d("30.87"), d("177.87")));
    // Example 5: 1500.00 at 25 % and 2500.00 at 12 %, half of it paid before.
    let five = bill(("1500.00", "0.25"), ("2500.00", "0.12", 1), "2337.50");
    let taxes: Vec<(Decimal, Decimal)> = five.taxes.iter().map(|t| (t.base, t.tax)).collect();
    assert_eq!(taxes, [(d("1500.00"), d("375.00")), (d("2500.00"), d("300.00"))]);
    assert_eq!((five.net, five.tax(), five.gross), (d("4000.00"), d("675.00"), d("4675.00")));
    assert_eq!(five.open(), d("2337.50"));
    // Example 2: 1460.50 at 25 % is 365.125, which it rounds up, and 1.00 at 15 %. Its exempt line of -25.00, which no job here has, and
    // the 1000.00 paid before are left out: 1436.50 + 25.00 and 1801.78 + 25.00.
    let two = bill(("1460.50", "0.25"), ("1.00", "0.15", 1), "0");
    let taxes: Vec<Decimal> = two.taxes.iter().map(|t| t.tax).collect();
    assert_eq!(taxes, [d("365.13"), d("0.15")]);
    assert_eq!((two.net, two.tax(), two.gross), (d("1461.50"), d("365.28"), d("1826.78")));
}
