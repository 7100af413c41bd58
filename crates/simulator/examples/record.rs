//! Prints a made-up recording as CSV: `record MACHINE.toml FAULT|healthy SEED [careful|hurried|household] > made.csv`.
#![allow(missing_docs, clippy::unwrap_used, reason = "an example for developers")]

use bench::Hypothesis;
use simulator::{MeterModel, Operator, Setting, SupplyModel, household, record, specimen};

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [file, fault, seed, rest @ ..] = args.as_slice() else {
        eprintln!("record MACHINE.toml FAULT|healthy SEED [careful|hurried|household]");
        std::process::exit(2);
    };
    let text = std::fs::read_to_string(file).unwrap();
    let machine = machine::read::read(&text, None).machine.unwrap();
    let faults: Vec<&str> = if fault == "healthy" { vec![] } else { fault.split(',').collect() };
    let hypothesis = Hypothesis::parse(&machine, &faults).unwrap();
    let seed: u64 = seed.parse().unwrap();
    let how = rest.first().map_or("careful", String::as_str);
    let setting = Setting {
        meter: MeterModel::logger(),
        supply: SupplyModel::kitchen(machine.plate.supply_v),
        operator: if how == "hurried" { Operator::hurried() } else { Operator::careful() },
        ..Setting::kitchen(machine.plate.supply_v)
    };
    let specimen = specimen(&machine, seed);
    let samples = if how == "household" {
        household(&specimen, &hypothesis, &setting, 1, seed)
    } else {
        let made = record(&specimen, &hypothesis, &setting, seed);
        for s in &made.truth {
            eprintln!(
                "{:8.1} {:8.1}  {:8.0} J  {}",
                s.start_s,
                s.end_s,
                s.energy_j,
                s.step.as_deref().unwrap_or("–")
            );
        }
        eprintln!("code {:?}", made.code);
        made.samples
    };
    println!("time s;power W;voltage V");
    for s in samples {
        let volts = s.voltage_v.map_or(String::new(), |v| format!("{v:.1}"));
        println!("{:.1};{:.1};{volts}", s.time_s, s.power_w);
    }
}
