//! Small files as meters and loggers write them, one per trap.
#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "a test"
)]

use std::io::Write;

use trace::read::{DateOrder, Encoding, Options, Packing, Reader, Role, Summary, TimeFormat, read};
use trace::{Sample, Trace};

fn with(file: impl AsRef<[u8]>, options: &Options) -> (Trace, Summary) {
    read(file.as_ref(), options).unwrap_or_else(|e| panic!("{e}"))
}

fn plain(file: impl AsRef<[u8]>) -> (Trace, Summary) {
    with(file, &Options::default())
}

/// Reads a file and compares times and powers.
fn check(file: &str, expected: &[(f64, f64)]) -> Summary {
    let (trace, summary) = plain(file);
    let found: Vec<_> = trace.samples.iter().map(|s| (s.time_s, s.power_w)).collect();
    assert_eq!(found, expected, "{file}");
    summary
}

fn refused(file: &str) -> String {
    read(file.as_bytes(), &Options::default()).unwrap_err().to_string()
}

const TWO: [(f64, f64); 2] = [(0.0, 151.0), (1.0, 156.5)];

#[test]
fn delimiters_and_decimal_marks() {
    for file in [
        "time_s,power_w\n0,151\n1,156.5\n",
        "time_s;power_w\r\n0;151\r\n1;156,5\r\n",
        "time_s\tpower_w\n0\t151,0\n1\t156,5\n",
        "t|P\n0|151\n1|156.5\n",
        "time_s,power_w\r0,151\r1,156.5\r",
        "\"time_s\",\"power_w\"\n\"0\",\"151,0\"\n\"1\",\"156,5\"\n",
        "\u{feff}time_s,power_w\n0,151\n1,156.5",
        "time_s , power_w\n 0 , 151 W\n 1 , 0.1565 kW\n",
        "Time (ms);Leistung (kW)\n0;0,151\n1000;0,1565\n",
        "time_s;other;power_w\n0;x;151\n1;y;156.5\n",
        "Time,Power\ns,W\n0,151\n1,156.5\n",
    ] {
        check(file, &TWO);
    }
}

#[test]
fn times() {
    let day = 1_709_208_000.0;
    for (file, start, format) in [
        ("time,W\n1709208000,151\n1709208001,156.5\n", Some(day), TimeFormat::Epoch { scale: 1.0 }),
        ("time,W\n1709208000000,151\n1709208001000,156.5\n", Some(day), TimeFormat::Epoch { scale: 1e-3 }),
        (
            "time,W\n2024-02-29T12:00:00Z,151\n2024-02-29T12:00:01Z,156.5\n",
            Some(day),
            TimeFormat::Date(DateOrder::YearFirst),
        ),
        (
            "time,W\n2024-02-29T14:00:00+02:00,151\n2024-02-29T14:00:01+02:00,156.5\n",
            Some(day),
            TimeFormat::Date(DateOrder::YearFirst),
        ),
        (
            "29/02/2024 12:00:00; 151; 156\n29/02/2024 12:00:01; 156.5; 156\n",
            Some(day),
            TimeFormat::Date(DateOrder::DayFirst),
        ),
        (
            "02/29/2024 12:00:00,151\n02/29/2024 12:00:01,156.5\n",
            Some(day),
            TimeFormat::Date(DateOrder::MonthFirst),
        ),
        (
            "Date,Time,W\n29.02.2024,12:00:00,151\n29.02.2024,12:00:01,156.5\n",
            Some(day),
            TimeFormat::Date(DateOrder::DayFirst),
        ),
        (
            "Date,W\n29 Feb 2024 12:00:00,151\n29 Feb 2024 12:00:01,156.5\n",
            Some(day),
            TimeFormat::Date(DateOrder::DayFirst),
        ),
        ("time,W\n23:59:59,151\n00:00:00,156.5\n", None, TimeFormat::Clock),
    ] {
        let summary = check(file, &TWO);
        assert_eq!((summary.start_unix_s, summary.dialect.time), (start, format), "{file}");
    }
}

#[test]
fn day_and_month_are_told_apart_by_the_whole_file_or_asked_for() {
    let both_ways = "03/04/2024 12:00:00;151\n03/04/2024 12:00:01;156.5\n";
    assert!(refused(both_ways).contains("Which comes first, the day or the month?"));
    for (day_first, start) in [(true, 1_712_145_600.0), (false, 1_709_553_600.0)] {
        let (trace, _) = with(both_ways, &Options { day_first: Some(day_first), ..Options::default() });
        assert_eq!(trace.start_unix_s, Some(start));
    }
    let mut long: String = (0..20_000)
        .map(|i| format!("03/04/2024 {:02}:{:02}:{:02};151\n", i / 3600, i / 60 % 60, i % 60))
        .collect();
    assert!(refused(&long).contains("day or the month"));
    long.push_str("13/04/2024 00:00:00;151\n");
    assert_eq!(plain(&long).1.dialect.time, TimeFormat::Date(DateOrder::DayFirst));
    let past_midnight = "03/04/2024 23:59:59;151\n03/05/2024 00:00:00;156.5\n";
    assert_eq!(check(past_midnight, &TWO).dialect.time, TimeFormat::Date(DateOrder::MonthFirst));
}

#[test]
fn encodings() {
    let text = "Zeit (s);Leistung (W);Temperatur (°C)\n0;151;20\n1;156,5;20\n";
    let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    let latin1: Vec<u8> = text.chars().map(|c| c as u8).collect();
    for (file, encoding) in [
        (text.as_bytes().to_vec(), Encoding::Bytes),
        (latin1, Encoding::Bytes),
        ([&[0xff, 0xfe][..], &le].concat(), Encoding::Utf16Le),
        (le, Encoding::Utf16Le),
        ([&[0xfe, 0xff][..], &be].concat(), Encoding::Utf16Be),
    ] {
        let (trace, summary) = plain(file);
        assert_eq!(trace, Trace::from_powers(TWO));
        assert_eq!(summary.dialect.encoding, encoding);
        assert_eq!(summary.columns[2].name, "Temperatur (°C)");
    }
}

#[test]
fn packings() {
    let text = b"time_s,power_w\n0,151\n1,156.5\n";
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    gzip.write_all(text).unwrap();
    let gzip = gzip.finish().unwrap();
    let zstd = ruzstd::encoding::compress_to_vec(&text[..], ruzstd::encoding::CompressionLevel::Fastest);
    for (file, packing) in [(gzip.clone(), Packing::Gzip), (zstd, Packing::Zstd)] {
        let (trace, summary) = plain(file);
        assert_eq!((trace, summary.dialect.packing), (Trace::from_powers(TWO), packing));
    }
    let cut = read(&gzip[..gzip.len() - 12], &Options::default()).unwrap_err();
    assert!(cut.to_string().contains("cut short"), "{cut}");
}

#[test]
fn what_comes_before_a_packed_file_breaks_off_is_read() {
    let rows: String = (0..5000).map(|t| format!("{t},{}\n", 100 + t * 7 % 97)).collect();
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    gzip.write_all(format!("time_s,power_w\n{rows}").as_bytes()).unwrap();
    let gzip = gzip.finish().unwrap();
    let mut reader = Reader::new(&gzip[..gzip.len() / 2], &Options::default()).unwrap();
    let (mut samples, mut broken) = (Vec::new(), None);
    for sample in reader.by_ref() {
        match sample {
            Ok(sample) => samples.push(sample),
            Err(error) => broken = Some(error),
        }
    }
    assert!(samples.len() > 500 && samples.len() < 5000, "{}", samples.len());
    let right = |(t, s): (usize, &Sample)| s.time_s == t as f64 && s.power_w == (100 + t * 7 % 97) as f64;
    assert!(samples.iter().enumerate().all(right), "{:?}", samples.last());
    assert!(broken.unwrap().to_string().contains("what came before this line has been read"));
}

#[test]
fn nothing_is_dropped_in_silence() {
    let file = "Logger 7\n\ntime_s,power_w\n0,10\n1,rubbish\n2,\n2,12\n2,14\n1,16\n3,16\n100,18\n";
    let summary = check(file, &[(0.0, 10.0), (2.0, 12.0), (2.0, 14.0), (3.0, 16.0), (100.0, 18.0)]);
    let lines: Vec<_> = summary.skipped.first.iter().map(|s| s.line).collect();
    assert_eq!(lines, [1, 5, 6]);
    assert_eq!(summary.duplicates.first, [8]);
    assert_eq!(summary.backward.first[0].line, 9);
    assert_eq!(
        (summary.gaps.first[0].start_s, summary.gaps.first[0].end_s, summary.gaps.first[0].line),
        (3.0, 100.0, 11)
    );
    assert_eq!(summary.quantum_w, Some(2.0));
    assert_eq!((summary.lines, summary.samples, summary.dialect.header_line), (11, 5, Some(3)));
}

#[test]
fn clock_changes() {
    let end_of_summer = "t,W\n2024-10-27 02:59:59,1\n2024-10-27 02:00:00,2\n2024-10-27 02:00:01,3\n";
    let summary = check(end_of_summer, &[(0.0, 1.0), (1.0, 2.0), (2.0, 3.0)]);
    assert_eq!(summary.clock_changes.first[0].line, 3);
    let set_back = check(
        "t,W\n1000,1\n1001,2\n500,3\n501,4\n",
        &[(1000.0, 1.0), (1001.0, 2.0), (1002.0, 3.0), (1003.0, 4.0)],
    );
    assert_eq!(set_back.clock_changes.count, 1);
}

#[test]
fn a_time_that_strays_alone_is_left_out() {
    let rows = "t,W\n2024-01-13 10:00:00,1\n2024-01-13 10:00:01,2\n2099-01-01 00:00:00,3\n2024-01-13 10:00:03,4\n\
                1970-01-01 00:00:00,5\n2024-01-13 10:00:04,6\n";
    let summary = check(rows, &[(0.0, 1.0), (1.0, 2.0), (3.0, 4.0), (4.0, 6.0)]);
    assert_eq!(summary.skipped.first.iter().map(|s| s.line).collect::<Vec<_>>(), [4, 6]);
    let away = check(
        "t,W\n0,1\n1,2\n200000,3\n200001,4\n",
        &[(0.0, 1.0), (1.0, 2.0), (200_000.0, 3.0), (200_001.0, 4.0)],
    );
    assert_eq!((away.gaps.count, away.skipped.count), (1, 0));
    check("t,W\n0,1\n1,2\n200000,3\n", &[(0.0, 1.0), (1.0, 2.0), (200_000.0, 3.0)]);
}

#[test]
fn volts_amperes_and_power_factor() {
    let (trace, summary) = plain("t;U (V);I (mA);PF\n0;230;1000;0,5\n1;231;2000;1\n");
    assert_eq!(
        trace.samples[0],
        Sample {
            time_s: 0.0,
            power_w: 115.0,
            voltage_v: Some(230.0),
            current_a: Some(1.0),
            power_factor: Some(0.5)
        }
    );
    assert!(summary.notes[0].contains("voltage × current × power factor"));

    let (_, summary) =
        plain("t,V,A,W,PF\n0,230,1,230,1\n1,230,1,260,1\n2,230,1,115,0.9\n3,230,1,115,0.5\n4,230,,115,0.5\n");
    let lines: Vec<_> = summary.contradictions.first.iter().map(|s| s.line).collect();
    assert_eq!(lines, [3, 4]);
    assert_eq!(summary.missing.first[0].line, 6);

    let (trace, summary) = plain("t,V,A\n0,230,2\n1,230,2\n");
    assert_eq!(trace.samples[0].power_w, 460.0);
    assert!(summary.notes[0].contains("volt-amperes were taken for watts"));
}

#[test]
fn a_missing_power_is_computed_where_the_row_allows() {
    let (trace, summary) = plain("t,V,A,W,PF\n0,230,1,230,1\n1,230,2,,0.5\n2,230,2,,\n");
    assert_eq!(trace.samples.len(), 2);
    assert_eq!(trace.samples[1].power_w, 230.0);
    assert_eq!(summary.missing.first[0].why, "nothing in column 4; power computed from the others");
    assert_eq!((summary.skipped.count, summary.skipped.first[0].line), (1, 4));
}

#[test]
fn watts_from_an_energy_counter() {
    // 1 Wh in 2 s is 1800 W, in 4 s 900 W.
    let (trace, _) = plain("t,kWh\n0,1.000\n2,1.001\n3,1.001\n6,1.002\n");
    let off = |sample: &Sample, watts: f64| (sample.power_w - watts).abs();
    assert_eq!(trace.samples.iter().map(|s| s.time_s).collect::<Vec<_>>(), [2.0, 6.0]);
    assert!(off(&trace.samples[0], 1800.0) < 1e-6 && off(&trace.samples[1], 900.0) < 1e-6);
}

#[test]
fn a_meter_that_is_stuck() {
    let rows: String = (0..700).map(|t| format!("{t},151.3\n")).collect();
    let (_, summary) = plain(format!("t,W\n{rows}700,152\n"));
    assert_eq!((summary.stuck.first[0].start_s, summary.stuck.first[0].end_s), (0.0, 699.0));
}

#[test]
fn the_only_numbers_beside_the_time_are_taken_for_power_with_the_question() {
    let file = "entity,state,last_changed\nplug.washer,151,2024-01-13T10:00:00Z\nplug.washer,156.5,2024-01-13T10:00:01Z\n";
    assert!(check(file, &TWO).questions[0].contains("Is “state” the power in watts?"));
    assert!(refused("t,Temperature (°C)\n0,20\n1,21\n").contains("no column holds power"));
}

#[test]
fn columns_can_be_named() {
    let file = "t,a1,a2\n0,1,151\n1,2,156.5\n";
    assert!(refused(file).contains("no column holds power"));
    for which in ["a2", "3"] {
        let options = Options { columns: vec![(which.into(), Role::Power)], ..Options::default() };
        assert_eq!(with(file, &options).0, Trace::from_powers(TWO));
    }
    let options = Options { columns: vec![("a3".into(), Role::Power)], ..Options::default() };
    assert!(read(file.as_bytes(), &options).unwrap_err().to_string().contains("“a2”"));
}

#[test]
fn what_is_no_recording_is_refused_with_a_remedy() {
    assert!(refused("").contains("it is empty"));
    assert!(refused(" \n\r\n").contains("blank lines only"));
    assert!(refused("PK\u{3}\u{4}\u{14}\0\u{6}\0 and so on").contains("save the sheet"));
    assert!(refused("%PDF-1.7\n1,2\n").contains("this is a PDF"));
    assert!(refused("{\"time\": 1, \"W\": 2}\n").contains("JSON"));
    assert!(refused("\u{7f}ELF\u{2}\u{1}\u{1}\u{2}\u{3}\u{4}").contains("no text"));
    assert!(refused("Dear customer,\nthank you for your order.\n").contains("Export the recording"));
    assert!(refused("name,W\nx,1 W 2\n").contains("no table"));
}
