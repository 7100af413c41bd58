//! A recording of the mains cycle itself: power quantities after IEEE Std 1459-2010, and harmonics.

use super::{Arguments, asked};
use crate::end::{Answer, Done, End, Failure};
use crate::load::refused;
use serde_json::{Value, json};
use std::fmt::Write;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;
use trace::waveform::{Analysis, Cycle, Harmonic, Power, analyse, read_wav};

/// Reads a WAV file and says what flows.
pub(super) fn run(file: &Path, arguments: &Arguments) -> Answer {
    let scales = asked::full_scale(arguments.full_scale.as_deref())?;
    let input = File::open(file).map_err(|error| {
        let message = format!("{} cannot be read: {error}", file.display());
        Failure::new(End::FileRefused, &message, "check the name, and that you may read it")
    })?;
    let wave = read_wav(BufReader::new(input), scales).map_err(|e| refused(file, &e))?;
    let found = analyse(&wave).map_err(|e| refused(file, &e))?;
    Ok(Done::with(if arguments.json { json(&found, wave.clipped) } else { text(&found, wave.clipped) }))
}

/// Writing into a String cannot fail.
fn text(found: &Analysis, clipped: usize) -> String {
    let p = &found.power;
    let mut out = format!(
        "{} cycles of {:.2} Hz: {:.1} V, {:.3} A\nP {:.1} W, S {:.1} VA, Q1 {:.1} var, N {:.1} var, PF {:.3} (fundamental {:.3})\n",
        found.cycles.len(),
        found.frequency_hz,
        p.v,
        p.i,
        p.p,
        p.s,
        p.q1,
        p.n,
        p.pf,
        p.pf1
    );
    let _ = writeln!(out, "Distortion: volts {:.1} %, amperes {:.1} %", 100.0 * p.thd_v, 100.0 * p.thd_i);
    let _ = writeln!(out, "harmonic  volts    amperes   watts");
    for h in &found.harmonics {
        let _ = writeln!(out, "{:>8} {:>7.2} {:>9.4} {:>9.2}", h.order, h.voltage_v, h.current_a, h.power_w);
    }
    if clipped > 0 {
        let _ = writeln!(
            out,
            "! {clipped} samples are at the end of the recorder's range: all figures are too low"
        );
    }
    out
}

fn json(found: &Analysis, clipped: usize) -> String {
    let whole = json!({
        "format": 1,
        "frequency_hz": found.frequency_hz,
        "power": power(&found.power),
        "harmonics": found.harmonics.iter().map(harmonic).collect::<Vec<_>>(),
        "cycles": found.cycles.iter().map(cycle).collect::<Vec<_>>(),
        "clipped": clipped,
    });
    format!("{whole:#}\n")
}

fn power(p: &Power) -> Value {
    json!({
        "v": p.v, "i": p.i, "v1": p.v1, "i1": p.i1, "p": p.p, "p1": p.p1, "ph": p.ph, "q1": p.q1, "s": p.s,
        "s1": p.s1, "sn": p.sn, "di": p.di, "dv": p.dv, "sh": p.sh, "dh": p.dh, "n": p.n, "pf": p.pf,
        "pf1": p.pf1, "thd_v": p.thd_v, "thd_i": p.thd_i,
    })
}

fn harmonic(h: &Harmonic) -> Value {
    json!({
        "order": h.order, "voltage_v": h.voltage_v, "current_a": h.current_a, "lag_rad": h.lag_rad,
        "power_w": h.power_w,
    })
}

fn cycle(c: &Cycle) -> Value {
    json!({ "start_s": c.start_s, "frequency_hz": c.frequency_hz, "power": power(&c.power) })
}
