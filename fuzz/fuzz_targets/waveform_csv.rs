//! Any bytes as a table of voltage and current sample by sample: no panic.
//!
//! `cargo +nightly fuzz run waveform_csv fuzz/corpus/waveform_csv fuzz/seeds/waveform_csv -- -max_len=65536 -timeout=20`
#![no_main]

use libfuzzer_sys::fuzz_target;
use trace::read::Options;
use trace::waveform::{Scales, analyse, read_csv};

fuzz_target!(|file: &[u8]| {
    let Ok(wave) = read_csv(file, &Options::default(), Scales::default()) else { return };
    let _ = analyse(&wave);
});
