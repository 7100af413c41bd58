//! Power of waveforms against published and recomputed values.
#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "a test"
)]

use std::f64::consts::{SQRT_2, TAU};
use std::io::Cursor;

use trace::read::Options;
use trace::waveform::{Analysis, Scales, Waveform, analyse, read_csv, read_wav};

/// Order, RMS, angle in degrees: x = Σ √2 X sin(h ωt + α).
type Spectrum<'a> = &'a [(u32, f64, f64)];

fn sum(spectrum: Spectrum<'_>, turns: f64) -> f64 {
    spectrum
        .iter()
        .map(|&(h, rms, deg)| SQRT_2 * rms * (TAU * f64::from(h) * turns + deg.to_radians()).sin())
        .sum()
}

fn wave(voltage: Spectrum<'_>, current: Spectrum<'_>, rate_hz: f64, mains_hz: f64, samples: u32) -> Waveform {
    let at = |spectrum| (0..samples).map(|k| sum(spectrum, f64::from(k) * mains_hz / rate_hz)).collect();
    Waveform { rate_hz, voltage_v: at(voltage), current_a: at(current), clipped: 0 }
}

fn close(name: &str, found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{name}: {found}, expected {expected} ± {tolerance}");
}

/// IEEE Std 1459-2010, Annex B example: V_h = 100, 8, 15, 5 V and I_h = 100, 20, 15, 10 A at h = 1, 3, 5, 7, the
/// current behind the voltage by 30°, 95°, 93°, 92°. Magnitudes and angles from memory; results recomputed from the
/// standard's definitions (a public re-computation notes that some printed values carry typing errors).
const ANNEX_B_V: Spectrum<'_> = &[(1, 100.0, 0.0), (3, 8.0, -70.0), (5, 15.0, 140.0), (7, 5.0, 20.0)];
const ANNEX_B_I: Spectrum<'_> = &[(1, 100.0, -30.0), (3, 20.0, -165.0), (5, 15.0, 47.0), (7, 10.0, -72.0)];

fn check_annex_b(found: &Analysis, scale: f64) {
    let p = found.power;
    for (name, value, expected, tolerance) in [
        ("V", p.v, 101.558, 0.05),
        ("I", p.i, 103.562, 0.05),
        ("P1", p.p1, 8660.254, 0.05),
        ("Q1", p.q1, 5000.0, 0.05),
        ("PH", p.ph, -27.465, 0.05),
        ("P", p.p, 8632.789, 0.05),
        ("S", p.s, 10_517.493, 0.05),
        ("S1", p.s1, 10_000.0, 0.05),
        ("SN", p.sn, 3258.474, 0.05),
        ("DI", p.di, 2692.582, 0.05),
        ("DV", p.dv, 1772.005, 0.05),
        ("SH", p.sh, 477.127, 0.05),
        ("DH", p.dh, 476.336, 0.05),
        ("N", p.n, 6007.713, 0.05),
        ("PF", p.pf, 0.8208, 0.0005),
        ("PF1", p.pf1, 0.866, 0.0005),
        ("THD_V", p.thd_v, 0.1772, 0.0005),
        ("THD_I", p.thd_i, 0.2693, 0.0005),
    ] {
        close(name, value, expected, tolerance * scale);
    }
}

#[test]
fn ieee_1459_annex_b() {
    let found = analyse(&wave(ANNEX_B_V, ANNEX_B_I, 12_800.0, 50.0, 2560)).unwrap();
    check_annex_b(&found, 1.0);
    close("f", found.frequency_hz, 50.0, 1e-9);
    for &(h, rms, _) in ANNEX_B_I {
        close("I_h", found.harmonics[h as usize - 1].current_a, rms, 1e-6);
    }
    close("I_2", found.harmonics[1].current_a, 0.0, 1e-6);
    close("lag 3", found.harmonics[2].lag_rad.to_degrees(), 95.0, 1e-6);
    assert_eq!(found.harmonics.len(), 40);
    for cycle in &found.cycles {
        close("P of a cycle", cycle.power.p, 8632.789, 0.05);
    }
}

#[test]
fn mains_that_does_not_fit_the_sampling_rate() {
    let found = analyse(&wave(ANNEX_B_V, ANNEX_B_I, 44_100.0, 49.973, 44_100)).unwrap();
    close("f", found.frequency_hz, 49.973, 1e-4);
    check_annex_b(&found, 1.0);
}

/// Own example, nothing from memory: v = √2·230 sin ωt, i = √2 (2 sin(ωt − 60°) + 1.2 sin 3ωt); values follow from
/// the definitions, and S² = P² + Q₁² + D_I².
#[test]
fn sine_voltage_and_third_harmonic() {
    let wave = wave(&[(1, 230.0, 0.0)], &[(1, 2.0, -60.0), (3, 1.2, 0.0)], 6400.0, 50.0, 6400);
    let p = analyse(&wave).unwrap().power;
    for (name, value, expected) in [
        ("P", p.p, 230.0),
        ("S", p.s, 536.4476),
        ("PF", p.pf, 0.4287),
        ("I", p.i, 2.3324),
        ("THD_I", p.thd_i, 0.6),
        ("Q1", p.q1, 398.3717),
        ("D_I", p.di, 276.0),
    ] {
        close(name, value, expected, 5e-5);
    }
    close("S²", p.p.powi(2) + p.q1.powi(2) + p.di.powi(2), p.s.powi(2), 1e-6);
}

/// RMS of √2·230 sin over whole cycles of 64 samples is 230 V: V = √(Σv²/N).
#[test]
fn whole_cycles_are_exact() {
    let found = analyse(&wave(&[(1, 230.0, 20.0)], &[(1, 1.0, 20.0)], 3200.0, 50.0, 640)).unwrap();
    close("V", found.power.v, 230.0, 1e-9);
    assert!(found.cycles.iter().all(|c| (c.power.v - 230.0).abs() < 1e-9));
}

#[test]
fn wav_and_csv_give_what_was_recorded() {
    let made = wave(&[(1, 230.0, 0.0)], &[(1, 8.0, 0.0)], 8000.0, 50.0, 4000);
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 8000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut file, spec).unwrap();
    let mut csv = String::from("Zeit (ms);Strom (mA);Spannung (V)\n");
    for (k, (v, i)) in made.voltage_v.iter().zip(&made.current_a).enumerate() {
        writer.write_sample((v / 500.0 * 32_768.0).round() as i16).unwrap();
        writer.write_sample((i / 20.0 * 32_768.0).round() as i16).unwrap();
        csv += &format!("{:.3};{:.1};{v:.2}\n", k as f64 / 8.0, i * 1e3).replace('.', ",");
    }
    writer.finalize().unwrap();
    let from_wav =
        read_wav(&file.get_ref()[..], Scales { volts: 500.0, amperes: 20.0, swapped: false }).unwrap();
    let from_csv = read_csv(csv.as_bytes(), &Options::default(), Scales::default()).unwrap();
    for wave in [from_wav, from_csv] {
        close("rate", wave.rate_hz, 8000.0, 1e-6);
        assert_eq!(wave.clipped, 0);
        let found = analyse(&wave).unwrap();
        close("P", found.power.p, 1840.0, 0.5);
        close("PF", found.power.pf, 1.0, 1e-4);
    }
}

#[test]
fn clipping_is_counted() {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 8000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut file, spec).unwrap();
    for sample in [i16::MAX, 0, i16::MIN, 100, 5, -5] {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
    assert_eq!(read_wav(&file.get_ref()[..], Scales::default()).unwrap().clipped, 2);
}

#[test]
fn what_is_no_mains_is_refused_with_a_remedy() {
    let refused = |wave: &Waveform| analyse(wave).unwrap_err().to_string();
    assert!(refused(&Waveform::default()).contains("no mains cycles"));
    assert!(refused(&wave(&[(1, 1.0, 0.0)], &[(1, 1.0, 0.0)], 8000.0, 400.0, 4000)).contains("400.0 Hz"));
    assert!(refused(&wave(&[(1, 1.0, 0.0)], &[(1, 1.0, 0.0)], 300.0, 50.0, 300)).contains("too few"));
    assert!(read_wav(&b"RIFFnonsense"[..], Scales::default()).is_err());
}
