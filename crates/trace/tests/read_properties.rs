//! What holds for any bytes and any recording.
#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "a test"
)]

use proptest::prelude::*;
use trace::Trace;
use trace::read::{Options, Role, read};
use trace::waveform::{Scales, read_csv, read_wav};

fn sound(trace: &Trace) {
    assert!(trace.samples.iter().all(|s| s.time_s.is_finite() && s.power_w.is_finite()));
    assert!(trace.samples.windows(2).all(|w| w[0].time_s <= w[1].time_s));
}

/// Bytes that look like the start of a recording more often than chance would have it.
fn hostile() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        Just("time,power_w\n".to_owned()),
        Just("1,2\n".to_owned()),
        Just("\u{feff}".to_owned()),
        Just("12:00:00;".to_owned()),
        Just("01/02/2024 10:00:00;5;6\n".to_owned()),
        Just("2024-02-30T10:00:00+25:00,1e308\n".to_owned()),
        Just("\"".to_owned()),
        Just("t;U (V);I (A);kWh\n".to_owned()),
        "[-+0-9.,;:eE/ \"\r\n]{0,30}",
        ".{0,10}",
    ];
    let text = proptest::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat().into_bytes());
    prop_oneof![text, proptest::collection::vec(any::<u8>(), 0..300)]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in hostile(), day_first: Option<bool>, magic in 0..4usize) {
        let magic: &[u8] = [&b""[..], b"\x1f\x8b\x08\x00", b"\x28\xb5\x2f\xfd", b"RIFF\x24\x00\x00\x00WAVEfmt "][magic];
        let bytes = [magic, &bytes].concat();
        let options = Options { day_first, columns: vec![("2".into(), Role::Power)] };
        for options in [Options::default(), options] {
            if let Ok((trace, summary)) = read(&bytes[..], &options) {
                sound(&trace);
                prop_assert_eq!(trace.samples.len() as u64, summary.samples);
            }
        }
        let _ = read_wav(&bytes[..], Scales::default());
        let _ = read_csv(&bytes[..], &Options::default(), Scales::default());
    }

    #[test]
    fn every_line_is_a_sample_or_a_remark(
        cells in proptest::collection::vec((0u8..6, 0u16..4000), 2..200)
    ) {
        let mut file = String::from("t,W\n0,1\n1,1\n");
        for (at, (kind, watts)) in cells.iter().enumerate() {
            let t = at + 2;
            file += &match kind {
                0 => format!("{t},rubbish\n"),
                1 => format!("{t},\n"),
                2 => format!("{},{watts}\n", t.saturating_sub(5)),
                _ => format!("{t},{watts}\n"),
            };
        }
        let (trace, summary) = read(file.as_bytes(), &Options::default()).unwrap();
        sound(&trace);
        prop_assert_eq!(summary.lines, cells.len() as u64 + 3);
        prop_assert_eq!(summary.lines, 1 + summary.samples + summary.skipped.count + summary.backward.count);
    }

    #[test]
    fn dialects_of_one_recording_read_alike(
        watts in proptest::collection::vec(-50_000i32..50_000, 3..60),
        start in 1_000_000_000u32..2_000_000_000,
    ) {
        let rows = || watts.iter().enumerate().map(|(t, w)| (t, f64::from(*w) / 10.0));
        let expected = Trace::from_powers(rows().map(|(t, w)| (t as f64, w))).samples;
        let files = [
            rows().map(|(t, w)| format!("{t},{w:.1}\n")).collect::<String>(),
            rows().map(|(t, w)| format!("{};{w:.1}\r\n", t * 1000).replace('.', ",")).collect(),
            rows().map(|(t, w)| format!("{}\t{w:.1}\n", u64::from(start) + t as u64)).collect(),
            rows().map(|(t, w)| format!("{t}|x|{w:.2}\n")).collect(),
        ];
        for (header, file) in ["time,P (W)\n", "Time [ms];Watts\n", "ts\tpower\n", "t|name|W\n"].iter().zip(files) {
            let (trace, _) = read(format!("{header}{file}").as_bytes(), &Options::default()).unwrap();
            prop_assert_eq!(&trace.samples, &expected, "{}", header);
        }
    }

    #[test]
    fn a_number_reads_as_it_was_written(watts in -1e9..1e9f64) {
        let file = format!("t,W\n0,{watts}\n1,{watts:e}\n2,{watts:.3}\n");
        let (trace, _) = read(file.as_bytes(), &Options::default()).unwrap();
        prop_assert_eq!(trace.samples[0].power_w, watts);
        prop_assert_eq!(trace.samples[1].power_w, watts);
        prop_assert_eq!(trace.samples[2].power_w, format!("{watts:.3}").parse::<f64>().unwrap());
    }
}
