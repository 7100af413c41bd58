//! A made-up job with every section, as the tests hand it over. Names, firms and numbers are invented.

use handover::{
    Bill, Consent, Done, Firm, FollowUp, Found, JobRecord, Part, Party, Plate, Proof, SafetyRow, Span, Step,
    Suspect, Verdict, trace_svg,
};
use rust_decimal::Decimal;
use worth::{Currency, Prices, Repair, Tax};

pub(crate) fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn s(text: &str) -> String {
    text.to_owned()
}

fn row(test: &str, limit: &str, reading: &str) -> SafetyRow {
    let source = s("EN 50678, table 1; from memory");
    SafetyRow { test: s(test), limit: s(limit), source, reading: s(reading), verdict: Verdict::Pass }
}

/// Labour at 60 an hour, a minimum of 45, travel 25, 25 % on parts, VAT 20 %.
pub(crate) fn prices(code: &str) -> Prices {
    let currency = Currency::from_code(code).unwrap();
    Prices {
        minimum_labour: d("45"),
        travel: d("25"),
        mark_up: d("0.25"),
        tax: Tax { name: s("VAT"), labour: d("0.2"), parts: d("0.2") },
        ..Prices::labour_only(currency, d("60"))
    }
}

pub(crate) fn repair() -> Repair {
    let element =
        worth::Part { what: s("element"), order: s("AT-1178"), price: d("38"), guessed: false, quantity: 1 };
    let screw =
        worth::Part { what: s("screw"), order: String::new(), price: d("0.33"), guessed: false, quantity: 6 };
    Repair { what: s("fit a new element"), minutes: 62, parts: vec![element, screw] }
}

pub(crate) fn job() -> JobRecord {
    let mut bill = Bill::of(&worth::quote(&repair(), &prices("EUR")), &prices("EUR"));
    bill.number = s("R-2026-88");
    bill.due = Some("2026-12-12".parse().unwrap());
    let samples: Vec<(f64, f64)> = (0..480)
        .map(|t| (f64::from(t), if (100..140).contains(&t) { 1850.0 } else { 20.0 + f64::from(t % 7) }))
        .collect();
    let spans =
        [("recall", 0.0, 60.0), ("half-spin", 60.0, 100.0), ("warm", 100.0, 140.0), ("drain", 300.0, 470.0)]
            .map(|(name, start_s, end_s)| Span { name: s(name), start_s, end_s });
    JobRecord {
        reference: s("2026-117"),
        date: Some("2026-11-28".parse().unwrap()),
        firm: Firm {
            party: Party {
                name: s("Mara Holt Appliance Repair"),
                street: s("12 Quay Street"),
                postcode: s("4410"),
                town: s("Pilot Steps"),
                country: s("IE"),
                phone: s("+353 1 555 0100"),
                email: s("mara@example.org"),
                vat: s("IE1234567FA"),
            },
            technician: s("M. Holt"),
            registration: String::new(),
            account: s("IE29AIBK93115212345678"),
        },
        customer: Party {
            name: s("Γιώργος Żółć"),
            street: s("3 Mill Lane"),
            town: s("Pilot Steps"),
            country: s("IE"),
            phone: s("+353 1 555 0111"),
            ..Party::default()
        },
        machine: Plate {
            kind: s("washing machine"),
            maker: s("Aldermere"),
            model: s("Tern 81"),
            variant: String::new(),
            serial: s("TN81-22-004711"),
            ratings: vec![s("230 V 50 Hz"), s("2.1 kW"), s("class I (earthed)")],
        },
        complaint: s("Washes cold since Tuesday; Дмитрий says İğdır was colder. [*x*] #panic() $a$ <b>"),
        found: Found {
            says: s("The heating element is open (99 %)."),
            evidence: vec![
                s("washes cold → fails: heats"),
                s("code none → no code"),
                s("element.1 element.2 = OL"),
            ],
            before: vec![
                Suspect { what: s("element open"), probability: s("41 %") },
                Suspect { what: s("heater relay open"), probability: s("22 %") },
            ],
            after: vec![Suspect { what: s("element open"), probability: s("99 %") }],
            steps: vec![
                Step {
                    step: s("1 recall"),
                    expected: s("4.6 ± 1.2 W"),
                    read: s("4.3 ± 2.0 W"),
                    verdict: s("as expected"),
                },
                Step {
                    step: s("9 warm"),
                    expected: s("1.85 ± 0.12 kW"),
                    read: s("0 ± 2 W"),
                    verdict: s("NOTHING"),
                },
            ],
            trace_svg: trace_svg(&samples, &spans).unwrap(),
            trace_says: s("Power over time in the service test, 8 min"),
        },
        done: Done {
            work: vec![s("Rear panel off, element changed, seal greased, panel on.")],
            parts: vec![Part {
                what: s("heating element"),
                order: s("AT-1178"),
                serial: s("E-77120"),
                old_read: s("OL, should be 27 Ω"),
                quantity: 1,
            }],
        },
        proof: Some(Proof {
            standard: s("EN 50678, EN 50699"),
            tester: s("Pocket tester 7, no. 0042"),
            calibration: s("holds until 2027-03-01"),
            on: Some("2026-11-28".parse().unwrap()),
            next_due: Some("2028-11-28".parse().unwrap()),
            rows: vec![
                row("visual inspection", "", "good"),
                row("protective conductor resistance", "at most 0.3 Ω", "0.09 Ω"),
                row("insulation resistance", "at least 1 MΩ", "> 299 MΩ"),
                row("protective conductor current", "at most 3.5 mA", "0.4 mA"),
            ],
            retest: vec![Step {
                step: s("warm"),
                expected: s("1.85 ± 0.12 kW"),
                read: s("1.83 kW"),
                verdict: s("pass"),
            }],
            fit: true,
            remarks: vec![s("Limits from memory: check them against your standard.")],
            reason: String::new(),
        }),
        bill: Some(bill),
        consent: Some(Consent {
            name: s("G. Żółć"),
            offer: s("164.35 EUR for a new element"),
            at: s("28 November 2026, 10:15 (Europe/Dublin)"),
            agreed: true,
            why: String::new(),
        }),
        advice: vec![s("Run a hot wash once a month.")],
        warranty: s("12 months on the part and the work."),
        follow_up: Some(FollowUp {
            at: "2027-01-12T09:30:00[Europe/Dublin]".parse().unwrap(),
            minutes: 45,
            what: s(
                "look at the drain hose; bring clips, size 22, and a towel for the long way through the cellar",
            ),
        }),
        handed_over: s("Mara Holt, 28 November 2026, 10:15 GMT"),
        draft: false,
        corrections: Vec::new(),
        chain: s("9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"),
    }
}
