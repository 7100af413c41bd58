//! Any bytes as a WAV recording of voltage and current: no panic, as many samples on both channels, finite power.
//!
//! `cargo +nightly fuzz run waveform_wav fuzz/corpus/waveform_wav fuzz/seeds/waveform_wav -- -max_len=65536 -timeout=20`
#![no_main]

use libfuzzer_sys::fuzz_target;
use trace::waveform::{Scales, analyse, read_wav};

fuzz_target!(|file: &[u8]| {
    let Ok(wave) = read_wav(file, Scales::default()) else { return };
    let _ = analyse(&wave);
});
