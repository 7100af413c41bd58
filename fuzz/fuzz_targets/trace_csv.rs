//! Any file, read as a recording and as a waveform: no panic, finite values, times that never decrease, and a summary
//! that counts what was given.
#![no_main]

use libfuzzer_sys::fuzz_target;
use trace::read::{KEPT, Options, read};
use trace::waveform::{Scales, analyse, read_csv, read_wav};

fuzz_target!(|file: &[u8]| {
    for day_first in [None, Some(true)] {
        let options = Options { day_first, ..Options::default() };
        let Ok((trace, summary)) = read(file, &options) else { continue };
        assert!(trace.samples.iter().all(|s| s.time_s.is_finite() && s.power_w.is_finite()));
        assert!(trace.samples.windows(2).all(|w| w[0].time_s <= w[1].time_s));
        assert_eq!(trace.samples.len() as u64, summary.samples);
        assert!(summary.skipped.first.len() <= KEPT);
    }
    for wave in [read_wav(file, Scales::default()), read_csv(file, &Options::default(), Scales::default())] {
        let _ = wave.and_then(|wave| analyse(&wave));
    }
});
