//! `trace`: recordings of real machines through the whole program, and what it refuses.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use support::{expected, same_as, wattmend};

fn recordings() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../trace/tests/data/tracebase")
}

fn read(name: &str, more: &[&str]) -> Value {
    let path = recordings().join(name);
    let mut arguments = vec!["trace", path.to_str().unwrap(), "--json"];
    arguments.extend(more);
    let printed = wattmend(&arguments);
    assert_eq!(printed.code, 0, "{}", printed.err);
    serde_json::from_str(&printed.out).unwrap()
}

/// Share of two intervals that both cover.
fn overlap(a: &Value, b: &Value) -> f64 {
    let at = |v: &Value, key: &str| v[key].as_f64().unwrap();
    let both = at(a, "end_s").min(at(b, "end_s")) - at(a, "start_s").max(at(b, "start_s"));
    let either = at(a, "end_s").max(at(b, "end_s")) - at(a, "start_s").min(at(b, "start_s"));
    both.max(0.0) / either
}

/// Labels read by hand from the recordings; see the README beside them.
#[test]
fn a_wash_is_read_as_its_label_says() {
    for name in ["wm_B82E27_20120123a", "wm_anonA_20111128a", "kt_599771_20110812", "wd_D356CD_20111202b"] {
        let label: Value =
            serde_json::from_str(&fs::read_to_string(recordings().join(format!("{name}.json"))).unwrap())
                .unwrap();
        let found = read(&format!("{name}.csv"), &["--supply", "235V"]);
        let heater = found["heater_on"].as_array().unwrap();
        for on in label["heater"].as_array().unwrap().iter().filter(|h| h["scored"] != false) {
            let best = heater.iter().max_by(|a, b| overlap(a, on).total_cmp(&overlap(b, on))).unwrap();
            assert!(overlap(best, on) >= 0.8, "{name}: {on}");
            let (is, ohms) = (best["power_w"].as_f64().unwrap(), best["resistance_ohm"].as_f64().unwrap());
            assert!((ohms * is / (235.0 * 235.0) - 1.0).abs() < 1e-3, "{name}: {best}");
            // Where the label says that the watts cannot be told, only the interval is held against it.
            let watts = on["watts"].as_f64().unwrap_or(is);
            assert!((is / watts - 1.0).abs() < 0.03, "{name}: {best}");
        }
        let spins = label["spin"].as_array().map_or(0, Vec::len);
        assert_eq!(found["spins"].as_array().unwrap().len(), spins, "{name}");
    }
}

/// What stands in the lists of spins and run-ups hangs together, and a run-up is a state of its own.
#[test]
fn spins_between_rinses_and_run_ups_are_told() {
    let found = read("wm_7297E3_20120108b.csv", &[]);
    let list = |key: &str| found[key].as_array().unwrap().clone();
    let spins: Vec<Value> = list("interim_spins").into_iter().chain(list("spins")).collect();
    assert_eq!((spins.len(), list("spins").len()), (5, 1));
    let ups: Vec<Value> = spins.iter().map(|s| s["run_up"].clone()).collect();
    assert_eq!(ups, list("run_ups"));
    let at = |v: &Value, key: &str| v[key].as_f64().unwrap();
    for spin in &spins {
        assert_eq!(at(spin, "time_to_peak_s"), at(spin, "peak_s") - at(spin, "start_s"), "{spin}");
        assert!(at(&spin["run_up"], "to_w") > at(&spin["run_up"], "from_w"), "{spin}");
    }
    let states = list("states");
    let ramp = states.iter().rfind(|s| s["kind"] == "run-up").unwrap();
    assert_eq!((&ramp["from_w"], &ramp["to_w"]), (&ups[4]["from_w"], &ups[4]["to_w"]));
}

#[test]
fn nothing_is_found_in_an_idle_machine() {
    let found = read("quiet_B82E27_20120123.csv", &[]);
    for key in ["heater_on", "spins", "interim_spins", "run_ups"] {
        assert_eq!(found[key].as_array().unwrap().len(), 0, "{key}");
    }
}

#[test]
fn every_key_of_the_document_is_printed_and_no_other() {
    let document =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/trace-json.md")).unwrap();
    let found = read("kt_anon_20111201.csv", &[]);
    for key in found.as_object().unwrap().keys() {
        assert!(document.contains(&format!("`{key}`")) || document.contains(&format!("`{key}[]`")), "{key}");
    }
    let more = ["samples", "gaps", "skipped", "states", "heater_on", "spins", "interim_spins", "run_ups"];
    for key in more.into_iter().chain(["source_resistance_ohm", "energy_wh", "warnings"]) {
        assert!(found.get(key).is_some(), "{key}");
    }
}

#[test]
fn the_picture_table_and_findings_are_as_stored() {
    let text = fs::read_to_string(recordings().join("wm_anonA_20111128a.csv")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let (file, plot) = (folder.path().join("wash.csv"), folder.path().join("wash.svg"));
    fs::write(&file, text).unwrap();
    let printed =
        wattmend(&["trace", file.to_str().unwrap(), "--supply", "230V", "--svg", plot.to_str().unwrap()]);
    same_as(&expected("trace.txt"), &printed.out.replace(file.to_str().unwrap(), "wash.csv"));
    let plot = fs::read_to_string(plot).unwrap();
    assert!(plot.starts_with("<svg ") && plot.contains("heater") && plot.ends_with("</svg>\n"));
}

#[test]
fn what_cannot_be_read_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let either = folder.path().join("either.csv");
    fs::write(&either, "date;W\n03/04/2024 10:00:00;5\n03/04/2024 10:00:01;6\n").unwrap();
    let either = either.to_str().unwrap();
    let asked = wattmend(&["trace", either]);
    assert_eq!(asked.code, 3, "{}", asked.out);
    assert!(asked.err.contains("day"), "{}", asked.err);
    assert_eq!(wattmend(&["trace", either, "--day-first"]).code, 0);
    let nowhere = wattmend(&["trace", "nowhere.csv"]);
    assert_eq!(nowhere.code, 3);
    assert!(nowhere.err.contains("there is no file nowhere.csv"), "{}", nowhere.err);
    let empty = folder.path().join("empty.csv");
    fs::write(&empty, "").unwrap();
    let empty = wattmend(&["trace", empty.to_str().unwrap()]);
    assert!(empty.code == 3 && empty.err.contains("it is empty"), "{}", empty.err);
    let inside = wattmend(&["trace", folder.path().to_str().unwrap()]);
    assert!(inside.code == 3 && inside.err.contains("is a folder"), "{}", inside.err);
    assert_eq!(wattmend(&["trace", either, "--day-first", "--supply", "tea"]).code, 4);
    assert_eq!(wattmend(&["trace", either, "--day-first", "--columns", "colour=1"]).code, 4);
}

/// A wash: reversing, heating for as long as given, reversing, spin; 238 V behind 0.4 Ω, one line a second.
fn wash(from_s: usize, heated_s: usize, left_out: std::ops::Range<usize>) -> String {
    let turning = |i: usize| if i % 20 < 10 { 150.0 } else { 5.0 };
    let lines = (0..2540).filter(|i| !left_out.contains(i)).map(|i| {
        let power_w = match i {
            ..120 | 2420.. => 2.0,
            _ if (700..700 + heated_s).contains(&i) => 2000.0 + turning(i),
            2000..2300 => 350.0,
            _ => turning(i),
        };
        format!("{};{power_w};{:.1}\n", from_s + i, 238.0 - 0.4 * power_w / 236.0)
    });
    lines.collect()
}

#[test]
fn the_run_with_a_gap_in_which_its_heater_went_off_stands_out_of_four() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("days.csv");
    let runs = [(600, 0..0), (600, 0..0), (200, 890..930), (600, 0..0)];
    let lines = runs.into_iter().enumerate().map(|(at, (heated_s, gap))| wash(at * 10_000, heated_s, gap));
    fs::write(&file, format!("time;power (W);voltage (V)\n{}", lines.collect::<String>())).unwrap();
    let file = file.to_str().unwrap();
    let found: Value = serde_json::from_str(&wattmend(&["trace", file, "--json"]).out).unwrap();
    let differences = found["runs"][2]["differences"].as_array().unwrap();
    assert!(differences[0].as_str().unwrap().contains("heated for 3:50 only"), "{differences:?}");
    assert_eq!(found["disturbances"][0]["kind"], "no_samples");
    assert_eq!(found["disturbances"][0]["run"], 2);
    assert_eq!(found["disturbances"][0]["ended"][0], "heater");
    let on = &found["heater_on"][2];
    assert!(on["notes"][0].as_str().unwrap().contains("went off between 5:48:09 and 5:48:50"), "{on}");
    let states = found["states"].as_array().unwrap();
    assert!(states.iter().any(|s| s["kind"] == "gap" && s["start_s"] == 20_889.0 && s["power_w"].is_null()));
    assert!(states.windows(2).all(|p| p[0]["end_s"].as_f64() <= p[1]["start_s"].as_f64()), "{states:?}");
    let text = support::wattmend_wide(&["trace", file], 80).out;
    assert!(text.contains("differs, see below"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

/// 230 V and 10 A lagging by 60° at 50 Hz, 1 ms a sample: P = 1150 W.
#[test]
fn a_csv_that_shows_the_mains_cycle_is_read_as_a_waveform() {
    let folder = tempfile::tempdir().unwrap();
    let (file, plot) = (folder.path().join("scope.csv"), folder.path().join("scope.svg"));
    let lines = (0..1000).map(|k| {
        let angle = std::f64::consts::TAU * 50.0 * f64::from(k) / 1000.0;
        let volts = 230.0 * 2f64.sqrt() * angle.sin();
        let amperes = 10.0 * 2f64.sqrt() * (angle - std::f64::consts::FRAC_PI_3).sin();
        format!("{k},{volts:.3},{amperes:.4}\n")
    });
    fs::write(&file, format!("time (ms),voltage (V),current (A)\n{}", lines.collect::<String>())).unwrap();
    let file = file.to_str().unwrap();
    let printed = wattmend(&["trace", file, "--json", "--svg", plot.to_str().unwrap()]);
    let found: Value = serde_json::from_str(&printed.out).unwrap();
    assert!((found["power"]["p"].as_f64().unwrap() - 1150.0).abs() < 1.0, "{}", found["power"]);
    let plot = fs::read_to_string(plot).unwrap();
    assert!(plot.contains("Harmonics") && plot.ends_with("</svg>\n"));
    let document =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/trace-json.md")).unwrap();
    for key in found.as_object().unwrap().keys() {
        assert!(document.contains(&format!("`{key}`")) || document.contains(&format!("`{key}[]`")), "{key}");
    }
    // At 2 ms and more it takes the option.
    let slow = wattmend(&["trace", file, "--columns", "power=2", "--waveform"]);
    assert_eq!(slow.code, 3, "a waveform without volts");
}

/// 230 V and 10 A lagging by 60° at 50 Hz: P = 230·10·cos 60° = 1150 W, Q₁ = 230·10·sin 60° = 1991.9 var.
#[test]
fn a_wav_file_gives_power_and_harmonics() {
    let (rate, count) = (10_000_u32, 4000_u32);
    let mut wav = Vec::new();
    let bytes = count * 4;
    wav.extend_from_slice(b"RIFF");
    wav.extend((36 + bytes).to_le_bytes());
    wav.extend_from_slice(b"WAVEfmt ");
    wav.extend(16_u32.to_le_bytes());
    wav.extend([1, 0, 2, 0]);
    wav.extend(rate.to_le_bytes());
    wav.extend((rate * 4).to_le_bytes());
    wav.extend([4, 0, 16, 0]);
    wav.extend_from_slice(b"data");
    wav.extend(bytes.to_le_bytes());
    for k in 0..count {
        let angle = std::f64::consts::TAU * 50.0 * f64::from(k) / f64::from(rate);
        let volts = 230.0 * 2f64.sqrt() * angle.sin() / 400.0;
        let amperes = 10.0 * 2f64.sqrt() * (angle - std::f64::consts::FRAC_PI_3).sin() / 20.0;
        wav.extend(((volts * 32768.0).round() as i16).to_le_bytes());
        wav.extend(((amperes * 32768.0).round() as i16).to_le_bytes());
    }
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mains.wav");
    fs::write(&file, wav).unwrap();
    let file = file.to_str().unwrap();
    let printed = wattmend(&["trace", file, "--full-scale", "400V,20A", "--json"]);
    let found: Value = serde_json::from_str(&printed.out).unwrap();
    assert!((found["power"]["p"].as_f64().unwrap() - 1150.0).abs() < 1.0, "{}", found["power"]);
    assert!((found["power"]["q1"].as_f64().unwrap() - 1991.9).abs() < 1.0, "{}", found["power"]);
    assert!((found["frequency_hz"].as_f64().unwrap() - 50.0).abs() < 0.01);
    assert_eq!(wattmend(&["trace", file]).code, 4);
}
