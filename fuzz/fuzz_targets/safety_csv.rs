//! Any bytes as a tester's CSV file, by mappings of both shapes: no panic, and a refusal says what to do.
//!
//! `fuzz/run safety_csv`
#![no_main]

use libfuzzer_sys::fuzz_target;
use safety::import::{Mapping, import};

fuzz_target!(|bytes: &[u8]| {
    // The first line is taken for the mapping: what it holds is as foreign as the file.
    let split = bytes.iter().position(|b| *b == b'\n').unwrap_or(bytes.len());
    let mut own = Mapping::default();
    for entry in String::from_utf8_lossy(&bytes[..split]).split('|') {
        if let Err(error) = own.add(entry) {
            assert!(!error.message.is_empty() && !error.remedy.is_empty());
        }
    }
    let mut long = Mapping::default();
    let mut wide = Mapping::default();
    for entry in ["Asset=appliance", "Test=test", "Result=value", "Unit=unit"] {
        long.add(entry).expect("a good entry");
    }
    for entry in ["Id=appliance", "R=earth bond in ohm", "Riso=insulation in MΩ", "I=leakage in mA"] {
        wide.add(entry).expect("a good entry");
    }
    for mapping in [own, long, wide] {
        for appliance in [None, Some("W-7")] {
            match import(bytes, &mapping, appliance) {
                Ok(readings) => assert!(!readings.is_empty()),
                Err(error) => assert!(!error.message.is_empty() && !error.remedy.is_empty()),
            }
        }
    }
});
