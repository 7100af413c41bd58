//! Every recording of `tests/data/tracebase` (its README: source and licence), read as a technician would.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use std::fs;

use trace::read::{Options, Summary, TimeFormat, read};

/// Name, rows, longest gap in s and repeated seconds of each recording, from the table in the folder's README.
const RECORDINGS: [(&str, u64, f64, u64); 22] = [
    ("dw_B7E6F4_20120203", 3193, 4.0, 1),
    ("dw_B7E6F4_20120216", 1471, 5.0, 0),
    ("dw_B82F81_20110810", 16_091, 11.0, 7_160),
    ("dw_B82F81_20110817a", 3675, 14.0, 1636),
    ("dw_B82F81_20110823b", 4239, 3.0, 1892),
    ("kt_599771_20110812", 740, 2.0, 327),
    ("kt_anon_20111201", 282, 8.0, 0),
    ("quiet_B82E27_20120123", 2479, 5.0, 150),
    ("td_D36122_20111217a", 4295, 6.0, 48),
    ("td_D36122_20120121b", 3897, 182.0, 248),
    ("wd_D356CD_20111202b", 948, 7.0, 0),
    ("wm_7297E3_20120108b", 2646, 24.0, 18),
    ("wm_9966DE_20110915a", 1040, 11.0, 10),
    ("wm_9966DE_20110919a", 577, 205.0, 11),
    ("wm_B82E27_20120123a", 1630, 15.0, 4),
    ("wm_B82E27_20120124a", 743, 8.0, 5),
    ("wm_B82E27_20120124b", 1253, 14.0, 0),
    ("wm_D31FFD_20120611", 5603, 6.0, 498),
    ("wm_D31FFD_20120614c", 4443, 92.0, 573),
    ("wm_D31FFD_20120625a", 4389, 138.0, 592),
    ("wm_anonA_20111128a", 1983, 5.0, 10),
    ("wm_anonA_20120103b", 2714, 17.0, 21),
];

fn summary_of(name: &str) -> (String, Summary) {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/tracebase/");
    let text = fs::read_to_string(format!("{folder}{name}.csv")).unwrap();
    let (trace, summary) = read(text.as_bytes(), &Options::default()).unwrap();
    // The slow and plain way gives the same samples.
    let rows: Vec<(f64, f64)> = text
        .lines()
        .skip(1)
        .map(|line| line.split_once(',').map(|(t, w)| (t.parse().unwrap(), w.parse().unwrap())).unwrap())
        .collect();
    let read: Vec<(f64, f64)> = trace.samples.iter().map(|s| (s.time_s, s.power_w)).collect();
    assert_eq!(read, rows, "{name}");
    (text, summary)
}

#[test]
fn every_row_is_read_and_what_is_odd_is_told() {
    for (name, rows, longest_gap_s, repeated) in RECORDINGS {
        let (text, summary) = summary_of(name);
        assert_eq!(summary.samples, rows, "{name}");
        assert_eq!(summary.lines, text.lines().count() as u64, "{name}");
        assert_eq!(summary.skipped.count + summary.backward.count + summary.clock_changes.count, 0, "{name}");
        assert_eq!(summary.duplicates.count, repeated, "{name}");
        assert_eq!(summary.dialect.time, TimeFormat::Count { scale: 1.0 }, "{name}");
        assert!(summary.questions.is_empty() && summary.notes.is_empty(), "{name}: {summary:?}");
        // Power comes in steps of about 2.13 W, written as whole watts.
        assert!(
            matches!(summary.quantum_w, Some(q) if (1.0..=3.0).contains(&q)),
            "{name}: {:?}",
            summary.quantum_w
        );
        let longest = summary.gaps.first.iter().map(|g| g.end_s - g.start_s).fold(0.0, f64::max);
        if longest_gap_s > 40.0 {
            assert_eq!(longest, longest_gap_s, "{name}");
        }
    }
}
