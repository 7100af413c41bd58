//! The demo: an invented harbour town with a few jobs, in one of which a fault is as good as found.

use crate::ServeError;
use records::{Customer, FirmFacts, JobMachine, NewEntry, Records, RecordsError, Says, StockPart};

/// One job of the scenario.
struct Scene {
    customer: (&'static str, &'static str, &'static str),
    /// Maker, model, name and text of the machine file; none where it has none yet.
    machine: Option<(&'static str, &'static str, &'static str, &'static str)>,
    says: Vec<Says>,
}

/// Fills empty records with the scenario. Its readings are simulated: they are what the machine files predict.
///
/// # Errors
/// Where the disk refuses.
pub fn scenario(records: &Records, now: &jiff::ZonedDateTime) -> Result<(), RecordsError> {
    for scene in scenes() {
        let (name, phone, address) = scene.customer;
        let customer =
            Customer { name: name.to_owned(), phone: phone.to_owned(), address: address.to_owned() };
        let machine = scene.machine.map(|(maker, model, file_name, file_text)| JobMachine {
            maker: maker.to_owned(),
            model: model.to_owned(),
            file_name: file_name.to_owned(),
            file_text: file_text.to_owned(),
            ..JobMachine::default()
        });
        let job = records.new_job(now, Some(&customer), machine.as_ref())?;
        for (n, says) in scene.says.into_iter().enumerate() {
            let key = format!("scenario {n}");
            records.append(job, &NewEntry { says, supersedes: None, at: now.clone(), key })?;
        }
    }
    let firm = FirmFacts {
        name: "Capstan Appliance Repair".to_owned(),
        technician: "Morwenna Pascoe".to_owned(),
        street: "4 Capstan Lane".to_owned(),
        town: "Port Aldermere".to_owned(),
        country: "GB".to_owned(),
        registration: "demo 0001".to_owned(),
        terms: "within 14 days".to_owned(),
        warranty: "12 months on parts and work".to_owned(),
        ..FirmFacts::default()
    };
    records.keep_firm(&firm)?;
    for (code, what, count, price, least) in VAN {
        let (code, what, price) = (code.to_owned(), what.to_owned(), price.to_owned());
        records.keep_part(&StockPart { code, what, count, price, least }, now)?;
    }
    Ok(())
}

/// What the van carries: order code, what it is, how many, price of one, how many at least.
const VAN: [(&str, &str, i64, &str, i64); 3] = [
    ("AT-1178", "heating element, 2 kW, Tern", 1, "38.00", 1),
    ("AT-1203", "tub probe, Tern", 2, "11.50", 1),
    ("AT-2012", "inlet valve, Tern", 0, "17.20", 1),
];

/// The demo's socket: a made-up washer whose element is open, worked by hand or by itself, so fast that its test takes about a
/// minute and a half. Its machine file and the file of the meters are written into this folder.
///
/// # Errors
/// Where the folder cannot be written.
pub fn meters(folder: &std::path::Path) -> Result<(), ServeError> {
    let refused = |e: std::io::Error| ServeError {
        message: format!("the demo's meter cannot be set up in {}: {e}", folder.display()),
        remedy: "set TMPDIR to a folder that you may write to".to_owned(),
    };
    let tern = include_str!("../../../machines/aldermere-tern-81.toml");
    std::fs::write(folder.join("simulated-tern-81.toml"), tern).map_err(refused)?;
    std::fs::write(folder.join("meters.toml"), DEMO_METERS).map_err(refused)
}

const DEMO_METERS: &str = r#"format = 1

# Simulated: a washer that washes cold, on a plug-in meter, six times as fast as a real one.
[[socket]]
name = "quayside 1"
kind = "simulator"
machine = "simulated-tern-81.toml"
faults = "element=open"
seed = 7
speed = 6
"#;

fn scenes() -> Vec<Scene> {
    let words = |w: &str| Says::Words { words: w.to_owned() };
    let complaint = |c: &str| Says::Complaint { complaint: c.to_owned() };
    let supply = |s: &str| Says::Supply { supply: s.to_owned() };
    let reading = |r: &str| Says::Reading { reading: r.to_owned() };
    let tern = (
        "Aldermere",
        "Tern 81",
        "aldermere-tern-81",
        include_str!("../../../machines/aldermere-tern-81.toml"),
    );
    let cockle = (
        "Polwarren",
        "Cockle 52",
        "polwarren-cockle-52",
        include_str!("../../../machines/polwarren-cockle-52.toml"),
    );
    let pilot = (
        "Saltreach",
        "Pilot 12",
        "saltreach-pilot-12",
        include_str!("../../../machines/saltreach-pilot-12.toml"),
    );
    vec![
        Scene {
            customer: ("Rope Walk Stores", "", "3 Rope Walk, Port Aldermere"),
            machine: None,
            says: vec![words("the old dryer in the back room trips the breaker")],
        },
        Scene {
            customer: ("H. Penrose", "", "The Lamp House, Mole Road"),
            machine: Some(pilot),
            says: vec![],
        },
        Scene {
            customer: ("Mrs Trevanion", "", "11 Capstan Lane"),
            machine: Some(cockle),
            says: vec![words("it hums and then nothing, the wash is soaking when I take it out")],
        },
        Scene {
            customer: ("Net Loft Guest House", "", "2 Quay Steps, Port Aldermere"),
            machine: Some(tern),
            says: vec![
                words("towels come out clean but stone cold"),
                complaint("washes cold"),
                supply("238 V"),
                reading("step recall: 4.6 W, no code"),
                reading("step left: 27.4 W"),
                reading("step right: 28.1 W"),
                reading("step half-spin: 149 W"),
                reading("step wash-fill: 13 W"),
                reading("step warm: 31 W"),
            ],
        },
    ]
}

#[cfg(test)]
mod tests {
    use super::scenes;
    use machine::read::read;

    #[test]
    fn every_entry_of_the_scenario_is_understood() {
        for scene in scenes() {
            let Some((.., text)) = scene.machine else { continue };
            let machine = read(text, None).machine.unwrap();
            let entry = |(n, says)| records::Entry { number: n, at: String::new(), says, supersedes: None };
            let log = records::Log::of((1..).zip(scene.says).map(entry).collect());
            let known = crate::worked_out::evidence(&machine, &log);
            assert_eq!(known.left_out, []);
        }
    }
}
