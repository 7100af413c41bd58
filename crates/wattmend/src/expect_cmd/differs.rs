//! What is different from healthy, in words.

use bench::{Estimate, Prediction, Trip};
use machine::model::{Machine, Step};
use quantity::{Dimension, format};

/// Watts that nobody would notice on a meter, and the share of the reading that goes with them.
const NOTICED_FROM_W: f64 = 2.0;
const NOTICED_SHARE: f64 = 0.02;

/// What differs under the faults, the most telling first. Empty: the step cannot tell.
pub(super) fn words(machine: &Machine, healthy: &Prediction, faulty: &Prediction) -> Vec<String> {
    let mut all = Vec::new();
    if let Some(trip) = &faulty.trip
        && healthy.trip.is_none()
    {
        all.push(trip_words(machine, trip));
    } else if faulty.ended && !healthy.ended {
        all.push("the test ends here".to_owned());
    }
    let code = |p: &Prediction| p.code.filter(|_| p.code_shown).map(|c| machine.codes[c].id.as_str());
    if code(healthy) != code(faulty) {
        all.push(format!(
            "code {} instead of {}",
            code(faulty).unwrap_or("none"),
            code(healthy).unwrap_or("none")
        ));
    }
    all.extend(power(healthy.power_w, faulty.power_w));
    all.extend(speed(healthy, faulty));
    if faulty.timed_out && !healthy.timed_out {
        all.push(format!("runs out of time after {}", format(faulty.lasts_s, Dimension::Time)));
    } else if (healthy.lasts_s - faulty.lasts_s).abs() > 2.0 {
        let [was, is] = [healthy, faulty].map(|p| format(p.lasts_s.round(), Dimension::Time));
        all.push(format!("takes {is} instead of {was}"));
    }
    if (healthy.water_l - faulty.water_l).abs() > 0.3 {
        all.push(format!("{:.1} l in it instead of {:.1} l", faulty.water_l, healthy.water_l));
    }
    let refused = |p: &Prediction| p.refused.clone();
    for &output in refused(faulty).iter().filter(|o| !healthy.refused.contains(o)) {
        all.push(format!("the board keeps `{}` off", machine.outputs[output].name));
    }
    all.extend(signs(healthy, faulty));
    if faulty.earth_a > 0.001 && faulty.earth_a > 2.0 * healthy.earth_a {
        all.push(format!("{} to earth", format(faulty.earth_a, Dimension::Current)));
    }
    all
}

/// What a protection that went off looks like.
pub(super) fn trip_words(machine: &Machine, trip: &Trip) -> String {
    match trip {
        Trip::Residual => "the residual-current device trips".to_owned(),
        Trip::Overcurrent(parts) if parts.is_empty() => "the fuse or breaker trips".to_owned(),
        Trip::Overcurrent(parts) => {
            // Wires are on every way; the parts tell where to look.
            let way: Vec<&str> = parts
                .iter()
                .map(|&p| &machine.parts[p])
                .filter(|p| p.ends.is_none())
                .map(|p| p.id.as_str())
                .collect();
            format!("the fuse or breaker trips (short by way of {})", way.join(", "))
        }
    }
}

fn power(healthy: Estimate, faulty: Estimate) -> Option<String> {
    let apart = (healthy.value - faulty.value).abs();
    if apart <= NOTICED_FROM_W.max(NOTICED_SHARE * healthy.value) {
        return None;
    }
    let [was, is] = [healthy, faulty].map(|p| format(p.value.round(), Dimension::Power));
    let overlap = healthy.interval().0 < faulty.interval().1 && faulty.interval().0 < healthy.interval().1;
    let proof = if overlap { " (a healthy one may read so too)" } else { "" };
    Some(format!("{is} instead of {was}{proof}"))
}

fn speed(healthy: &Prediction, faulty: &Prediction) -> Option<String> {
    let turns = |p: &Prediction| p.speed_rpm.value.abs() > 1.0;
    match (turns(healthy), turns(faulty)) {
        (true, false) => Some("the drum stands".to_owned()),
        (false, true) => Some("the drum turns though it should not".to_owned()),
        (true, true) if faulty.one_way && !healthy.one_way => Some("the drum turns one way only".to_owned()),
        (true, true) if (healthy.speed_rpm.value - faulty.speed_rpm.value).abs() > 2.0 => {
            Some(format!("{:.0} rpm instead of {:.0} rpm", faulty.speed_rpm.value, healthy.speed_rpm.value))
        }
        _ => None,
    }
}

fn signs(healthy: &Prediction, faulty: &Prediction) -> Vec<String> {
    // The drum's turning is told by its speed already.
    let told = |s: &&&str| **s != "drum turns";
    let new = faulty.signs.iter().filter(|s| !healthy.signs.contains(s)).filter(told);
    let gone = healthy.signs.iter().filter(|s| !faulty.signs.contains(s)).filter(told);
    new.map(|s| (*s).to_owned()).chain(gone.map(|s| format!("not: {s}"))).collect()
}

/// Speed in rpm and direction in words; "–" where nothing turns.
pub(super) fn speed_words(step: &Step, p: &Prediction) -> String {
    let rpm = p.speed_rpm.value;
    if rpm.abs() < 1.0 {
        return "–".to_owned();
    }
    let direction = if p.one_way {
        "one way only"
    } else if step.drives.iter().any(|d| d.both_ways) {
        "both ways"
    } else if rpm < 0.0 {
        "left"
    } else {
        "right"
    };
    format!("{:.0} {direction}", rpm.abs())
}
