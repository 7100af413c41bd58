//! What stands in a finding, in words.

use bench::{Estimate, Hypothesis};
use diagnosis::check::{CheckKind, Instrument};
use diagnosis::evidence::{Clue, Entry, OhmsReading, StepReading, VoltsReading};
use diagnosis::finding::{LEFT_OUT_AT_MOST, Suspect, Verdict};
use machine::model::{Machine, PanelId};
use quantity::{Dimension, Reading, format, format_code, format_pm};

/// An entry as it was said, and how it was taken where that differs.
pub fn entry(machine: &Machine, entry: &Entry) -> String {
    let taken = clue(machine, &entry.clue);
    let plain = |text: &str| text.trim_start_matches("step ").replace([' ', '=', ':'], "").to_lowercase();
    let same = plain(&entry.said) == plain(&taken);
    if same { entry.said.clone() } else { format!("{} → {taken}", entry.said) }
}

/// "element open", "element open now and then".
pub fn suspect(machine: &Machine, suspect: &Suspect) -> String {
    let one = |(i, &fault): (usize, &(usize, usize))| {
        let says = Hypothesis::of([fault]).says(machine);
        if suspect.sometimes.contains(&i) { format!("{says} now and then") } else { says }
    };
    suspect.faults.faults().iter().enumerate().map(one).collect::<Vec<_>>().join(" and ")
}

/// How a clue was taken.
pub fn clue(machine: &Machine, clue: &Clue) -> String {
    let function = |f: &usize| machine.functions[*f].name.as_str();
    let yes_no = |yes: bool| if yes { "yes" } else { "no" };
    match clue {
        Clue::Fails(functions) => {
            let names: Vec<&str> = functions.iter().map(function).collect();
            format!("fails: {}", names.join(" or "))
        }
        Clue::Works(f) => format!("works: {}", function(f)),
        Clue::Code(None) => "no code".to_owned(),
        Clue::Code(Some(code)) => format!("code {}: {}", machine.codes[*code].id, machine.codes[*code].says),
        Clue::Ohms(reading) => ohms(reading),
        Clue::Volts(VoltsReading { names: [a, b], step, shown }) => {
            let volts = format(shown.value, Dimension::Voltage);
            format!("{}: {a} to {b}: {volts}", machine.test.steps[*step].id)
        }
        Clue::Step(reading) => format!("{}: {}", machine.test.steps[reading.step].id, step(reading)),
        Clue::Sign { step, sign, seen } => {
            format!("{}: {sign}: {}", machine.test.steps[*step].id, yes_no(*seen))
        }
        Clue::Hand { part, check, yes } => {
            let part = &machine.parts[*part];
            format!("{}: {} {}", part.id, part.kind.checks[*check].ask, yes_no(*yes))
        }
        Clue::Own { check, yes } => format!("{} {}", machine.checks[*check].ask, yes_no(*yes)),
        Clue::Mended { part, works } => {
            let then = match works {
                Some(true) => ": the machine works",
                Some(false) => ": no change",
                None => "",
            };
            format!("{} is sound now{then}", machine.parts[*part].id)
        }
        Clue::Cycles { function: f, worked, failed } => {
            format!("{}: worked {worked} times, failed {failed} times", function(f))
        }
    }
}

fn ohms(reading: &OhmsReading) -> String {
    let [a, b] = &reading.names;
    let shown = match reading.shown {
        Reading::OverRange { .. } => "OL".to_owned(),
        Reading::Value(v) => format_code(v.value),
    };
    let off = if reading.unplugged.is_empty() {
        String::new()
    } else {
        format!(", {} off", reading.unplugged.join(" and "))
    };
    let with = if reading.insulation { "insulation " } else { "" };
    format!("{with}{a} to {b}{off}: {shown}")
}

fn step(reading: &StepReading) -> String {
    let values = [
        (&reading.power_w, Dimension::Power),
        (&reading.current_a, Dimension::Current),
        (&reading.speed_rpm, Dimension::Speed),
        (&reading.lasted_s, Dimension::Time),
    ];
    let said: Vec<String> = values.iter().filter_map(|(v, d)| v.map(|v| format(v.value, *d))).collect();
    said.join(", ")
}

/// How sure one is at this probability; no more than "likely" where too much was left out to be sure of anything.
pub fn likelihood(p: f64, left_out: f64) -> &'static str {
    match p {
        p if p >= 0.6 && left_out > LEFT_OUT_AT_MOST => "likely",
        p if p >= 0.97 => "almost sure",
        p if p >= 0.85 => "very likely",
        p if p >= 0.6 => "likely",
        p if p >= 0.3 => "may well be",
        p if p >= 0.1 => "possible",
        p if p >= 0.02 => "unlikely",
        _ => "hardly",
    }
}

/// A bar ten columns long.
pub fn bar(p: f64) -> String {
    let full = (p.clamp(0.0, 1.0) * 10.0).round() as usize;
    format!("{}{}", "█".repeat(full), "░".repeat(10 - full))
}

/// Per cent, never rounded to nothing or to certainty.
pub fn per_cent(p: f64) -> String {
    match p {
        p if p <= 0.0 => "0 %".to_owned(),
        p if p < 0.001 => "<0.1 %".to_owned(),
        p if p < 0.0995 => format!("{:.1} %", 100.0 * p),
        p if p >= 0.9995 => ">99.9 %".to_owned(),
        p if p >= 0.985 => format!("{:.1} %", 100.0 * p),
        p => format!("{:.0} %", 100.0 * p),
    }
}

/// A bound in per cent, rounded up: nothing is left of it.
pub fn at_most(p: f64) -> String {
    let per_cent = 100.0 * p.clamp(0.0, 1.0);
    // The hair is for bounds that are round already.
    if per_cent < 10.0 {
        format!("{:.1} %", (10.0 * per_cent - 1e-9).ceil() / 10.0)
    } else {
        format!("{:.0} %", (per_cent - 1e-9).ceil())
    }
}

/// Watts with the half-width of the interval of about 95 %.
pub fn watts(e: Estimate) -> String {
    if e.value == 0.0 { "0 W".to_owned() } else { format_pm(e.value, 2.0 * e.u, Dimension::Power) }
}

/// A verdict, the bad ones in capitals: they must be found at a glance, and without colour.
pub fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::AsExpected => "as expected",
        Verdict::Low => "LOW",
        Verdict::High => "HIGH",
        Verdict::Nothing => "NOTHING",
        Verdict::Unsure => "unsure",
        Verdict::NotDone => "not done",
    }
}

/// An instrument as one asks for it.
pub fn instrument(i: Instrument) -> &'static str {
    match i {
        Instrument::None => "eyes, ears, hands",
        Instrument::PowerMeter => "power meter",
        Instrument::Multimeter => "multimeter",
        Instrument::InsulationTester => "insulation tester",
        Instrument::Tachometer => "tachometer",
        Instrument::Thermometer => "thermometer",
    }
}

/// A kind of check as the JSON names it.
pub fn kind(kind: CheckKind) -> &'static str {
    match kind {
        CheckKind::Resistance => "resistance",
        CheckKind::Insulation => "insulation",
        CheckKind::Voltage => "voltage",
        CheckKind::Current => "current",
        CheckKind::Power => "power",
        CheckKind::Speed => "speed",
        CheckKind::Temperature => "temperature",
        CheckKind::Observation => "observation",
        CheckKind::Rerun => "rerun",
        CheckKind::Swap => "swap",
    }
}

/// "lid (3 min), back (4 min)", or nothing to take off.
pub fn panels(machine: &Machine, access: &[PanelId]) -> String {
    let one = |&p: &PanelId| format!("{} ({})", machine.panels[p].name, minutes(machine.panels[p].minutes));
    access.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// "1.5 min", "16 min".
pub fn minutes(m: f64) -> String {
    if m < 10.0 && (m - m.round()).abs() > 0.05 { format!("{m:.1} min") } else { format!("{m:.0} min") }
}

#[cfg(test)]
mod tests {
    use super::{at_most, bar, likelihood, minutes, per_cent};

    #[test]
    fn no_probability_is_rounded_to_certainty() {
        for (p, words) in [
            (0.0, "0 %"),
            (0.0004, "<0.1 %"),
            (0.0123, "1.2 %"),
            (0.0996, "10 %"),
            (0.5, "50 %"),
            (0.9849, "98 %"),
            (0.9951, "99.5 %"),
            (0.99999, ">99.9 %"),
        ] {
            assert_eq!(per_cent(p), words);
        }
        assert_eq!(bar(0.04), "░░░░░░░░░░");
        assert_eq!(bar(1.0), "██████████");
        assert_eq!(bar(f64::NAN).chars().count(), 10);
        assert_eq!((likelihood(0.99, 1e-4), likelihood(0.001, 1e-4)), ("almost sure", "hardly"));
        assert_eq!((likelihood(0.99, 0.5), likelihood(0.4, 0.5)), ("likely", "may well be"));
        let bounds = [1e-4, 0.0123, 0.1, 0.234, 0.9996, 1.0].map(at_most);
        assert_eq!(bounds, ["0.1 %", "1.3 %", "10 %", "24 %", "100 %", "100 %"]);
    }

    #[test]
    fn minutes_are_rounded_as_one_speaks() {
        assert_eq!([1.5, 16.2, 3.0, 0.0].map(minutes), ["1.5 min", "16 min", "3 min", "0 min"]);
    }
}
