//! The keys of a visit file; `docs/record.md` describes them.

use machine::schema::{Form, Key, Table, may, must};

pub(super) static FILE: Table = Table {
    name: "the file",
    keys: &[
        must("format", Form::Number, "the format of this file"),
        may("reference", Form::Text, "what the job is called in your books"),
        may("date", Form::Text, "day of the visit"),
        may("serial", Form::Text, "serial number of the machine"),
        may("complaint", Form::Text, "what was wrong, in the customer's words"),
        may("found", Form::Text, "what was found, in a sentence"),
        may("work", Form::TextOrTexts, "what was done, a sentence each"),
        may("advice", Form::TextOrTexts, "advice, a sentence each"),
        may("warranty", Form::Text, "what is warranted, and for how long"),
        may("chain", Form::Text, "last link of the log's chain"),
        may("firm", Form::Table(&FIRM), "who did it"),
        may("customer", Form::Table(&CUSTOMER), "for whom"),
        may("part", Form::Tables(&PART), "parts fitted"),
        may("price", Form::Table(&PRICE), "what you charge"),
        may("invoice", Form::Table(&INVOICE), "what an invoice needs beside the price"),
        may("safety", Form::Table(&SAFETY), "the safety test"),
        may("consent", Form::Table(&CONSENT), "what the customer decided"),
        may("follow-up", Form::Table(&FOLLOW_UP), "when to come again"),
    ],
};

const NAME: Key = must("name", Form::Text, "name");
const STREET: Key = may("street", Form::Text, "street and number");
const POSTCODE: Key = may("postcode", Form::Text, "postcode");
const TOWN: Key = may("town", Form::Text, "town");
const COUNTRY: Key = may("country", Form::Text, "country, two letters");
const PHONE: Key = may("phone", Form::Text, "telephone");
const EMAIL: Key = may("email", Form::Text, "electronic mail");
const VAT: Key = may("vat", Form::Text, "VAT identifier");

pub(super) static FIRM: Table = Table {
    name: "[firm]",
    keys: &[
        NAME,
        STREET,
        POSTCODE,
        TOWN,
        COUNTRY,
        PHONE,
        EMAIL,
        VAT,
        may("technician", Form::Text, "who was there"),
        may("registration", Form::Text, "number of registration"),
        may("account", Form::Text, "account for payment, such as an IBAN"),
    ],
};

pub(super) static CUSTOMER: Table =
    Table { name: "[customer]", keys: &[NAME, STREET, POSTCODE, TOWN, COUNTRY, PHONE, EMAIL, VAT] };

pub(super) static PART: Table = Table {
    name: "[[part]]",
    keys: &[
        must("part", Form::Text, "its name in the machine file, or what it is"),
        may("order", Form::Text, "order code; the machine file's where left out"),
        may("serial", Form::Text, "serial or batch number"),
        may("old", Form::Text, "what the old part read"),
        may("quantity", Form::Number, "how many"),
        may("price", Form::Text, "what one costs you, without tax"),
    ],
};

pub(super) static PRICE: Table = Table {
    name: "[price]",
    keys: &[
        may("currency", Form::Text, "currency, ISO 4217"),
        must("rate", Form::Text, "an hour of work"),
        must("minutes", Form::Number, "minutes worked"),
        may("minimum", Form::Text, "least that labour costs"),
        may("travel", Form::Text, "travel or call-out"),
        may("mark-up", Form::Text, "added to what a part costs you"),
        may("tax", Form::Text, "tax on work and parts, such as VAT 20%"),
        may("labour-tax", Form::Text, "tax on labour and travel, where it differs"),
        may("rounding", Form::Text, "half-up or half-even"),
        may("cash-step", Form::Text, "what is paid goes in steps of this"),
    ],
};

pub(super) static INVOICE: Table = Table {
    name: "[invoice]",
    keys: &[
        must("number", Form::Text, "number of the invoice"),
        may("due", Form::Text, "day by which it is to be paid"),
        may("terms", Form::Text, "terms of payment in words"),
        may("untaxed", Form::Text, "why lines bear no tax"),
    ],
};

pub(super) static SAFETY: Table = Table {
    name: "[safety]",
    keys: &[
        may("standard", Form::Text, "whose limits"),
        may("class", Form::Text, "I, II or III"),
        may("lead", Form::Quantity("length"), "length of the mains lead"),
        may("core", Form::Number, "section of its protective core, mm²"),
        may("heating", Form::Quantity("power"), "rated power of all heaters together"),
        may("sort", Form::Text, "portable, stationary or heating; by its kind where left out"),
        may("unearthed-metal", Form::Flag, "metal that can be touched and is not earthed"),
        may("sheathed-element", Form::Flag, "a metal-sheathed element is in the tested path"),
        may("switches-by-hand", Form::Flag, "no relay inside needs power to close"),
        may("surge-arresters", Form::Flag, "surge arresters are fitted"),
        may("rewired", Form::Flag, "plug, terminals or cord were worked on"),
        may("readings", Form::TextOrTexts, "what was read"),
        may("tester", Form::Text, "name and number of the tester"),
        may("accuracy", Form::TextOrTexts, "its limits of error"),
        may("calibrated", Form::Text, "when it was last calibrated"),
        may("calibration-due", Form::Text, "when that is due again"),
        may("on", Form::Text, "day of the test"),
        may("next-due", Form::Text, "when the next test is due"),
        may("reason", Form::Text, "why it is handed over without a complete test"),
    ],
};

pub(super) static CONSENT: Table = Table {
    name: "[consent]",
    keys: &[
        must("name", Form::Text, "who decided"),
        must("offer", Form::Text, "what was offered"),
        must("at", Form::Text, "when"),
        must("agreed", Form::Flag, "agreed, or declined"),
        may("why", Form::Text, "why it was declined"),
    ],
};

pub(super) static FOLLOW_UP: Table = Table {
    name: "[follow-up]",
    keys: &[
        must("at", Form::Text, "when, with the zone of the place"),
        may("minutes", Form::Number, "how long"),
        must("what", Form::Text, "what for"),
    ],
};
