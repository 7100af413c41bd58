//! Where each quantity stands in what a meter sends: the tables `[socket.power]`, `[socket.voltage]`, …

use super::read::demand;
use super::values::{refuse, scale, sent};
use super::{Taking, TopicPlace};
use crate::measured::Measured;
use machine::diagnostic::Diagnostic;
use machine::read::fields::{Fields, Findings, Text};
use machine::schema::{Form, Key, may};

/// Keys that every quantity's table may have.
const COMMON: [Key; 2] = [
    may("unit", Form::Text, "the unit that the meter means; else W, V, A, 1, Hz or J"),
    may("scale", Form::Number, "what one there is, in that unit"),
];

/// Reads the place of a quantity, or of the meter's time, from its table.
pub(super) type ReadPlace<P> = fn(&Fields<'_>, &mut Findings) -> Option<P>;

/// All quantities of a socket, each with its place; `keys` are those of the place.
pub(super) fn quantities<P>(
    socket: &Fields<'_>,
    keys: &[Key],
    read: ReadPlace<P>,
    findings: &mut Findings,
) -> Option<Vec<Taking<P>>> {
    let mut all = Some(Vec::new());
    for measured in Measured::ALL {
        if socket.get(measured.key()).is_none() {
            continue;
        }
        let taking = one(socket, measured, keys, read, findings);
        all = all.zip(taking).map(|(mut all, taking)| {
            all.push(taking);
            all
        });
    }
    all
}

fn one<P>(
    socket: &Fields<'_>,
    measured: Measured,
    keys: &[Key],
    read: ReadPlace<P>,
    findings: &mut Findings,
) -> Option<Taking<P>> {
    let fields = table(socket, measured.key(), keys, &COMMON, findings)?;
    let factor = factor(&fields, measured, findings);
    let place = read(&fields, findings);
    Some(Taking { measured, place: place?, factor: factor? })
}

/// Where the meter's own time stands.
pub(super) fn time<P>(
    socket: &Fields<'_>,
    keys: &[Key],
    read: ReadPlace<P>,
    findings: &mut Findings,
) -> Option<P> {
    let fields = table(socket, "time", keys, &[], findings)?;
    read(&fields, findings)
}

/// A table of a socket, its keys judged.
pub(super) fn table<'t>(
    socket: &Fields<'t>,
    name: &str,
    keys: &[Key],
    more: &[Key],
    findings: &mut Findings,
) -> Option<Fields<'t>> {
    let (table, span) = socket.table(name, findings)?;
    let fields = Fields::bare(table, format!("`{name}` of {}", socket.name()), span);
    let all: Vec<&str> = keys.iter().chain(more).map(|k| k.name).collect();
    fields.refuse_unknown(findings, |key| all.contains(&key), || all.clone());
    demand(&fields, keys, findings);
    Some(fields)
}

/// What one at the meter is, in the base unit.
pub(super) fn factor(fields: &Fields<'_>, measured: Measured, findings: &mut Findings) -> Option<f64> {
    let unit = match fields.text("unit", findings) {
        None => Some(1.0),
        Some(text) => unit(&text, measured, findings),
    };
    Some(scale(fields, findings)? * unit?)
}

fn unit(text: &Text, measured: Measured, findings: &mut Findings) -> Option<f64> {
    if text.text == "1" && measured == Measured::PowerFactor {
        return Some(1.0);
    }
    match quantity::parse(&format!("1 {}", text.text), measured.dimension()) {
        Ok(factor) if factor > 0.0 && !text.text.trim().is_empty() => Some(factor),
        _ => {
            let units = match measured {
                Measured::Power => "\"W\", \"mW\" or \"kW\"",
                Measured::Voltage => "\"V\" or \"mV\"",
                Measured::Current => "\"A\" or \"mA\"",
                Measured::PowerFactor => "\"1\" or \"%\"",
                Measured::Frequency => "\"Hz\"",
                Measured::Energy => "\"J\", \"Wh\" or \"kWh\"",
            };
            let message = format!("`{}` is no unit of {}", text.text, measured.key());
            refuse(findings, "bad-unit", text, message, format!("write {units}; any other by `scale`"));
            None
        }
    }
}

/// A JSON pointer after RFC 6901.
pub(super) fn pointer(fields: &Fields<'_>, findings: &mut Findings) -> Option<String> {
    let text = fields.text("pointer", findings)?;
    let escapes_are_good = text
        .text
        .match_indices('~')
        .all(|(at, _)| matches!(text.text.as_bytes().get(at + 1), Some(b'0' | b'1')));
    if (text.text.is_empty() || text.text.starts_with('/')) && escapes_are_good {
        return Some(text.text);
    }
    let message = format!("`{}` is no JSON pointer (RFC 6901)", text.text);
    let mend = "write the keys on the way down, each after a slash: \"/meters/0/power\"; ~ is written ~0, / in a key ~1";
    refuse(findings, "bad-pointer", &text, message, mend);
    None
}

/// A topic of its own, and a pointer where its messages are JSON.
pub(super) fn topic_place(fields: &Fields<'_>, findings: &mut Findings) -> Option<TopicPlace> {
    let topic = sent(fields, "topic", findings);
    let pointer = fields.get("pointer").map(|_| pointer(fields, findings));
    let topic = topic?;
    if topic.text.contains(['+', '#']) {
        let message = "a meter's topic has no wildcards";
        refuse(findings, "wildcard", &topic, message, "name the one topic that this meter speaks on");
        return None;
    }
    let pointer = match pointer {
        None => None,
        Some(pointer) => Some(pointer?),
    };
    Some(TopicPlace { topic: topic.text, pointer })
}

/// Quantities that hang on groups of a pattern: their tables give only units.
pub(super) fn groups(
    socket: &Fields<'_>,
    pattern: &Text,
    names: &[&str],
    findings: &mut Findings,
) -> Option<Vec<Taking<String>>> {
    let mut all = Some(Vec::new());
    for measured in Measured::ALL {
        // Names of groups have no hyphens.
        let group = measured.key().replace('-', "_");
        let there = names.contains(&group.as_str());
        if !there {
            if let Some(value) = socket.get(measured.key()) {
                findings.push(
                    Diagnostic::error(
                        "no-group",
                        value.span(),
                        format!("the pattern has no group `{group}`"),
                    )
                    .mend(format!("put (?<{group}>…) into it around the number")),
                );
                all = None;
            }
            continue;
        }
        let factor = match socket.get(measured.key()) {
            None => Some(1.0),
            Some(_) => table(socket, measured.key(), &[], &COMMON, findings)
                .and_then(|fields| factor(&fields, measured, findings)),
        };
        all = all.zip(factor).map(|(mut all, factor)| {
            all.push(Taking { measured, place: group, factor });
            all
        });
    }
    if !names.contains(&"power") {
        let mend = "put (?<power>…) around the watts: \"P=(?<power>[0-9.]+)\"";
        refuse(findings, "no-group", pattern, "the pattern has no group `power`", mend);
        return None;
    }
    all
}
