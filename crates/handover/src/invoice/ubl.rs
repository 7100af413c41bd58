//! The invoice as UBL 2.1 by the core model of EN 16931-1; the BT and BG numbers are those of the model. Codes: 380 commercial
//! invoice (UNTDID 1001), 30 credit transfer (UNTDID 4461), C62 one (UN/ECE Recommendation 20), S, E, O categories of tax
//! (UNTDID 5305).

use super::xml::Xml;
use super::{InvoiceError, refused};
use crate::bill::{Bill, per_cent};
use crate::record::{JobRecord, Party};
use rust_decimal::Decimal;
use worth::Currency;

/// Specification identifier of the core model (BT-24).
const CORE: &str = "urn:cen.eu:en16931:2017";

/// Digits behind the point that the model allows in an amount (BR-DEC-09 and others).
const DIGITS: u32 = 2;

const SPACES: &str = " xmlns=\"urn:oasis:names:specification:ubl:schema:xsd:Invoice-2\"\
     \n  xmlns:cac=\"urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2\"\
     \n  xmlns:cbc=\"urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2\"";

/// The invoice of a job.
///
/// # Errors
/// Where something is missing that the model demands, or the currency has more than two decimals.
pub fn ubl(record: &JobRecord) -> Result<String, InvoiceError> {
    let bill = record.bill.as_ref().ok_or_else(|| refused("there is no price", "price the repair first"))?;
    let money = bill.money().map_err(|e| InvoiceError { message: e.message, remedy: e.remedy })?;
    complete(record, bill, money)?;
    let date = record.date.map_or(String::new(), |d| d.to_string());
    let currency = format!(" currencyID=\"{}\"", money.code());
    let amount = |xml: &mut Xml, name: &str, value: Decimal| xml.with(name, &currency, &money.number(value));
    let mut xml = Xml::new("Invoice", SPACES);
    xml.leaf("cbc:CustomizationID", CORE);
    xml.leaf("cbc:ID", &bill.number);
    xml.leaf("cbc:IssueDate", &date); // BT-2
    xml.leaf("cbc:DueDate", &bill.due.map_or(String::new(), |d| d.to_string())); // BT-9
    xml.leaf("cbc:InvoiceTypeCode", "380"); // BT-3
    xml.leaf("cbc:DocumentCurrencyCode", money.code()); // BT-5
    xml.leaf("cbc:BuyerReference", &record.reference); // BT-10: what the job is called
    xml.within("cac:AccountingSupplierParty", |xml| {
        party(xml, &record.firm.party, &record.firm.registration, Some(&record.firm.technician));
    });
    xml.within("cac:AccountingCustomerParty", |xml| party(xml, &record.customer, "", None));
    xml.within("cac:Delivery", |xml| xml.leaf("cbc:ActualDeliveryDate", &date)); // BT-72
    if !record.firm.account.is_empty() {
        xml.within("cac:PaymentMeans", |xml| {
            xml.leaf("cbc:PaymentMeansCode", "30"); // BT-81
            xml.leaf("cbc:PaymentID", &bill.number); // BT-83
            xml.within("cac:PayeeFinancialAccount", |xml| xml.leaf("cbc:ID", &record.firm.account)); // BT-84
        });
    }
    if !bill.terms.is_empty() {
        xml.within("cac:PaymentTerms", |xml| xml.leaf("cbc:Note", &bill.terms)); // BT-20
    }
    xml.within("cac:TaxTotal", |xml| {
        amount(xml, "cbc:TaxAmount", bill.tax()); // BT-110
        for (rate, base, tax) in subtotals(bill) {
            // BG-23
            xml.within("cac:TaxSubtotal", |xml| {
                amount(xml, "cbc:TaxableAmount", base); // BT-116
                amount(xml, "cbc:TaxAmount", tax); // BT-117
                xml.within("cac:TaxCategory", |xml| category(xml, record, bill, rate, true)); // BT-118 to BT-120
            });
        }
    });
    xml.within("cac:LegalMonetaryTotal", |xml| {
        amount(xml, "cbc:LineExtensionAmount", bill.net); // BT-106
        amount(xml, "cbc:TaxExclusiveAmount", bill.net); // BT-109
        amount(xml, "cbc:TaxInclusiveAmount", bill.net + bill.tax()); // BT-112
        if !bill.paid.is_zero() {
            amount(xml, "cbc:PrepaidAmount", bill.paid); // BT-113
        }
        if !bill.rounded_by.is_zero() {
            amount(xml, "cbc:PayableRoundingAmount", bill.rounded_by); // BT-114
        }
        amount(xml, "cbc:PayableAmount", bill.open()); // BT-115
    });
    for (at, line) in bill.lines.iter().enumerate() {
        // BG-25
        xml.within("cac:InvoiceLine", |xml| {
            xml.leaf("cbc:ID", &(at + 1).to_string()); // BT-126
            xml.with("cbc:InvoicedQuantity", " unitCode=\"C62\"", &line.quantity.to_string()); // BT-129, BT-130
            amount(xml, "cbc:LineExtensionAmount", line.net); // BT-131
            xml.within("cac:Item", |xml| {
                xml.leaf("cbc:Name", &line.what); // BT-153
                xml.within("cac:ClassifiedTaxCategory", |xml| category(xml, record, bill, line.rate, false)); // BT-151
            });
            xml.within("cac:Price", |xml| amount(xml, "cbc:PriceAmount", line.one)); // BT-146
        });
    }
    Ok(xml.end())
}

/// The tax by rate (BG-23), with what bears none: the model wants every line in one of them.
fn subtotals(bill: &Bill) -> Vec<(Decimal, Decimal, Decimal)> {
    let mut all: Vec<_> = bill.taxes.iter().map(|t| (t.rate, t.base, t.tax)).collect();
    let free: Vec<Decimal> = bill.lines.iter().filter(|l| l.rate.is_zero()).map(|l| l.net).collect();
    if !free.is_empty() {
        all.push((Decimal::ZERO, free.iter().sum(), Decimal::ZERO));
    }
    all
}

/// S: at a rate. E: exempt, by a firm with an identifier for this tax (BR-E-02). O: not subject to it, which bears no rate
/// (BR-O-05) and goes with no identifier (BR-O-02).
fn category(xml: &mut Xml, record: &JobRecord, bill: &Bill, rate: Decimal, with_reason: bool) {
    let code = match (rate.is_zero(), record.firm.party.vat.is_empty()) {
        (false, _) => "S",
        (true, false) => "E",
        (true, true) => "O",
    };
    xml.leaf("cbc:ID", code);
    if code != "O" {
        xml.leaf("cbc:Percent", &per_cent(rate)); // BT-119, BT-152
    }
    if rate.is_zero() && with_reason {
        let reason = if bill.untaxed.is_empty() { "Not subject to VAT" } else { &bill.untaxed };
        xml.leaf("cbc:TaxExemptionReason", reason); // BT-120
    }
    xml.within("cac:TaxScheme", |xml| xml.leaf("cbc:ID", "VAT"));
}

/// BG-4 and BG-7 with their addresses, BG-5 and BG-8, and the seller's contact, BG-6.
fn party(xml: &mut Xml, party: &Party, registration: &str, contact: Option<&str>) {
    xml.within("cac:Party", |xml| {
        xml.within("cac:PostalAddress", |xml| {
            xml.leaf("cbc:StreetName", &party.street); // BT-35, BT-50
            xml.leaf("cbc:CityName", &party.town); // BT-37, BT-52
            xml.leaf("cbc:PostalZone", &party.postcode); // BT-38, BT-53
            xml.within("cac:Country", |xml| xml.leaf("cbc:IdentificationCode", &party.country)); // BT-40, BT-55
        });
        if !party.vat.is_empty() {
            xml.within("cac:PartyTaxScheme", |xml| {
                xml.leaf("cbc:CompanyID", &party.vat); // BT-31, BT-48
                xml.within("cac:TaxScheme", |xml| xml.leaf("cbc:ID", "VAT"));
            });
        }
        xml.within("cac:PartyLegalEntity", |xml| {
            xml.leaf("cbc:RegistrationName", &party.name); // BT-27, BT-44
            xml.leaf("cbc:CompanyID", registration); // BT-30
        });
        let name = contact.unwrap_or_default();
        if [name, &party.phone, &party.email].iter().any(|t| !t.trim().is_empty()) {
            xml.within("cac:Contact", |xml| {
                xml.leaf("cbc:Name", name); // BT-41
                xml.leaf("cbc:Telephone", &party.phone); // BT-42
                xml.leaf("cbc:ElectronicMail", &party.email); // BT-43
            });
        }
    });
}

/// All that the model demands is there.
fn complete(record: &JobRecord, bill: &Bill, money: Currency) -> Result<(), InvoiceError> {
    let (seller, buyer) = (&record.firm.party, &record.customer);
    if money.exponent() > DIGITS {
        return Err(refused(
            format!("EN 16931 knows two decimals at most, and {} has {}", money.code(), money.exponent()),
            "send the PDF or the CSV lines",
        ));
    }
    let countries = [("firm", &seller.country), ("customer", &buyer.country)];
    for (whose, country) in countries {
        if country.len() != 2 || !country.chars().all(|c| c.is_ascii_uppercase()) {
            return Err(refused(
                format!("an invoice needs the country of the {whose}"),
                "write its two letters of ISO 3166-1, such as DE",
            ));
        }
    }
    let taxed = bill.lines.iter().any(|l| !l.rate.is_zero());
    let free = bill.lines.iter().any(|l| l.rate.is_zero());
    let missing = [
        (bill.number.is_empty(), "its number", "give the invoice a number (BT-1)"),
        (record.date.is_none(), "its date", "say on which day the visit was (BT-2)"),
        (bill.lines.is_empty(), "a line", "price the repair first (BR-16)"),
        (seller.name.is_empty(), "the name of the firm", "write it (BT-27)"),
        (buyer.name.is_empty(), "the name of the customer", "write it (BT-44)"),
        (
            bill.due.is_none() && bill.terms.is_empty() && bill.open() > Decimal::ZERO,
            "when it is to be paid",
            "give the day (BT-9) or the terms in words (BT-20)",
        ),
        (
            taxed && seller.vat.is_empty(),
            "the firm's VAT identifier, as its lines bear tax",
            "write it with the letters of its country, such as DE123456789 (BT-31)",
        ),
        (
            seller.vat.is_empty() && record.firm.registration.is_empty(),
            "an identifier of the firm",
            "write its VAT identifier (BT-31) or the number of its registration (BT-30)",
        ),
        (
            free && !seller.vat.is_empty() && bill.untaxed.is_empty(),
            "the reason why lines bear no tax",
            "write it in a sentence (BT-120)",
        ),
        (
            free && !taxed && seller.vat.is_empty() && !buyer.vat.is_empty(),
            "no VAT identifier of the customer, as nothing is subject to VAT",
            "leave it out (BR-O-02)",
        ),
    ];
    match missing.into_iter().find(|m| m.0) {
        Some((_, what, remedy)) => Err(refused(format!("an invoice needs {what}"), remedy)),
        None => Ok(()),
    }
}
