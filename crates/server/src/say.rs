//! From what a form says to an entry of the log. Every entry is understood by the machine file before it is kept.

use crate::desk::Desk;
use crate::problem::Problem;
use crate::visit::check;
use crate::who::Who;
use diagnosis::evidence::Listener;
use machine::model::Machine;
use quantity::{Dimension, Units, parse, parse_toleranced};
use records::{Job, NewEntry, Records, Says};
use serde::Deserialize;
use std::sync::Arc;

/// Longest text of one field, characters.
const LONGEST: usize = 2_000;

/// The fields that forms send; which of them count depends on `what`.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Form {
    /// words, complaint, works, supply, water, caution, step, saw, code, check, nothing.
    pub(crate) what: String,
    pub(crate) value: String,
    pub(crate) step: String,
    pub(crate) watts: String,
    pub(crate) amps: String,
    pub(crate) code: String,
    pub(crate) answer: String,
    pub(crate) check: String,
    /// Number of the entry that is put right.
    pub(crate) supersedes: String,
    /// Names the entry for good; a form without one gets its own.
    pub(crate) key: String,
}

/// What the form says; a bare number of what people measure in units of their country is taken in these.
pub(crate) fn says(machine: Option<&Machine>, form: &Form, units: Units) -> Result<Says, Problem> {
    let fields = [&form.value, &form.watts, &form.amps, &form.answer, &form.check, &form.step, &form.code];
    if fields.iter().any(|f| f.chars().count() > LONGEST) {
        return Err(Problem::refused(
            format!("this is longer than {LONGEST} characters"),
            "say it in fewer words, or in two entries",
        ));
    }
    let value = form.value.trim();
    match form.what.as_str() {
        "words" => needed(value, "what the customer says", "write it as it was said")
            .map(|words| Says::Words { words }),
        "supply" => supply(value),
        "water" => water(value, units),
        "caution" => Ok(Says::Caution { caution: value.to_owned(), ticked: form.answer == "yes" }),
        "nothing" => Ok(Says::Nothing {}),
        _ => of_machine(machine, form, value),
    }
}

/// What only a machine file gives a meaning to.
fn of_machine(machine: Option<&Machine>, form: &Form, value: &str) -> Result<Says, Problem> {
    let machine = machine.ok_or_else(|| {
        Problem::refused("this job has no machine file yet", "match the machine first, under Arrive")
    })?;
    let listener = Listener::new(machine);
    match form.what.as_str() {
        "complaint" => listener.complaint(value).map(|_| Says::Complaint { complaint: value.to_owned() }),
        "works" => listener.works(value).map(|_| Says::Works { works: value.to_owned() }),
        "code" => listener.code(value).map(|_| Says::Code { code: value.to_owned() }),
        "step" => {
            let reading = format!("step {}: {}", form.step.trim(), of_step(form)?);
            listener.reading(&reading).map(|_| Says::Reading { reading })
        }
        "saw" => listener
            .saw(value, Some(&form.answer))
            .map(|_| Says::Saw { saw: value.to_owned(), answer: form.answer.clone() }),
        "check" => {
            let check = form.check.split_whitespace().collect::<Vec<_>>().join(" ");
            let typed = !form.watts.trim().is_empty() || !form.amps.trim().is_empty();
            let answer = if typed { of_step(form)? } else { form.answer.trim().to_owned() };
            let answer = needed(&answer, "the answer", "type what was read, or choose one of the answers")?;
            listener
                .asked(&check)
                .and_then(|asked| listener.answer(asked, &answer))
                .map(|_| Says::Check { check, answer })
        }
        other => {
            return Err(Problem::refused(
                format!("`{other}` is nothing that can be said here"),
                "reload the page and say it again",
            ));
        }
    }
    .map_err(Problem::from)
}

/// `31 W, 0.2 A` and a code, from their fields; a bare number is taken in the unit of its field.
fn of_step(form: &Form) -> Result<String, Problem> {
    let mut said = Vec::new();
    for (text, dimension) in [(&form.watts, Dimension::Power), (&form.amps, Dimension::Current)] {
        if !text.trim().is_empty() {
            said.push(with_unit(text, dimension));
        }
    }
    let mut said = vec![said.join(" ")];
    match form.code.trim() {
        "" => {}
        "none" => said.push("no code".to_owned()),
        code => said.push(format!("code {code}")),
    }
    said.retain(|s| !s.is_empty());
    needed(&said.join(", "), "what was read", "type watts, amperes or the code")
}

fn supply(value: &str) -> Result<Says, Problem> {
    let supply = with_unit(value, Dimension::Voltage);
    let volts =
        parse_toleranced(&supply, Dimension::Voltage).map_err(|e| Problem::refused(e.message, e.remedy))?;
    if !(1.0..=440.0).contains(&volts.nominal) {
        return Err(Problem::refused("no socket has this voltage", "give 1 to 440 V"));
    }
    Ok(Says::Supply { supply })
}

/// Most water that a machine holds, l.
const MOST_WATER: f64 = 200.0;

fn water(value: &str, units: Units) -> Result<Says, Problem> {
    let water = units.with_unit(value, Dimension::Volume);
    let litres = parse(&water, Dimension::Volume).map_err(|e| Problem::refused(e.message, e.remedy))?;
    if !(0.0..=MOST_WATER).contains(&litres) {
        let most = units.format(MOST_WATER, Dimension::Volume);
        return Err(Problem::refused("no machine holds so much water", format!("give 0 to {most}")));
    }
    Ok(Says::Water { water })
}

/// The text, with the unit of its field where it ends in a digit.
fn with_unit(text: &str, dimension: Dimension) -> String {
    let text = text.trim();
    let bare = text.ends_with(|c: char| c.is_ascii_digit() || c == '.') && parse(text, dimension).is_err();
    if bare { format!("{text} {}", dimension.base_unit()) } else { text.to_owned() }
}

fn needed(value: &str, what: &str, remedy: &str) -> Result<String, Problem> {
    if value.trim().is_empty() {
        return Err(Problem::refused(format!("{what} is missing"), remedy));
    }
    Ok(value.trim().to_owned())
}

/// Who does not work on machines may write down what the customer says and decides and what it costs, and put that right; a
/// safety test is signed off by who answers for it.
pub(crate) fn may_say(who: &Who, says: &Says, job: &Job, supersedes: Option<u32>) -> Result<(), Problem> {
    let may = |says: &Says| match says {
        Says::Words { .. }
        | Says::Complaint { .. }
        | Says::Nothing {}
        | Says::Prices { .. }
        | Says::Decided { .. }
        | Says::HandOver { .. } => true,
        Says::Signed { .. } | Says::HandedOver { .. } | Says::Correction { .. } => who.may_sign(),
        _ => who.works_on_machines(),
    };
    // A number that no entry has is refused where the entry is kept.
    let replaced = supersedes.and_then(|n| job.log.entries().iter().find(|e| e.number == n)).map(|e| &e.says);
    if may(says) && replaced.is_none_or(may) { Ok(()) } else { Err(crate::guard::not_yours()) }
}

/// Keeps what the form says; on return it is on the disk. Gives the number of the entry.
pub(crate) async fn keep(desk: &Arc<Desk>, job: &Job, form: &Form, who: &Who) -> Result<u32, Problem> {
    let machine = desk.machine_of(job)?;
    let settings = desk.with_records(Records::settings).await?;
    let (of, sent) = (job.clone(), form.clone());
    let units = crate::setup::units(&settings.units);
    let says = desk
        .work(move || {
            let says = says(machine.as_deref(), &sent, units)?;
            machine.map_or(Ok(()), |machine| check::may_have_run(&machine, &of, &settings, &says))?;
            Ok::<_, Problem>(says)
        })
        .await??;
    let supersedes = match form.supersedes.trim() {
        "" => None,
        number => Some(
            number.parse().map_err(|_| Problem::refused("no entry has this number", "reload the page"))?,
        ),
    };
    may_say(who, &says, job, supersedes)?;
    let at = jiff::ZonedDateTime::now();
    let key = match form.key.trim() {
        "" => format!("{at} {says:?}").chars().take(100).collect(),
        key => key.to_owned(),
    };
    let id = job.id;
    let entry = NewEntry { says, supersedes, at, key };
    let by = who.user();
    desk.with_records(move |r| r.append_by(id, &entry, by)).await
}

#[cfg(test)]
mod tests {
    use super::{Form, Units};
    use crate::problem::Problem;
    use machine::model::Machine;
    use quantity::Volumes;
    use records::Says;

    fn says(machine: Option<&Machine>, form: &Form) -> Result<Says, Problem> {
        super::says(machine, form, Units::default())
    }

    fn tern() -> machine::model::Machine {
        machine::read::read(include_str!("../../../machines/aldermere-tern-81.toml"), None).machine.unwrap()
    }

    fn form(what: &str, value: &str) -> Form {
        Form { what: what.to_owned(), value: value.to_owned(), ..Form::default() }
    }

    #[test]
    fn a_bare_number_has_the_unit_of_its_field() {
        let tern = tern();
        let step = |watts: &str, amps: &str| {
            let sent = Form {
                step: "warm".to_owned(),
                watts: watts.to_owned(),
                amps: amps.to_owned(),
                ..form("step", "")
            };
            says(Some(&tern), &sent)
        };
        let reading = |reading: &str| Says::Reading { reading: reading.to_owned() };
        assert_eq!(step("31", "0,2").unwrap(), reading("step warm: 31 W 0,2 A"));
        assert_eq!(step("2.02 kW", "").unwrap(), reading("step warm: 2.02 kW"));
        assert!(step("", "").is_err());
        assert!(step("warm", "").is_err());
        assert_eq!(says(None, &form("supply", "238")).unwrap(), Says::Supply { supply: "238 V".to_owned() });
        assert!(says(None, &form("supply", "0,3 V")).is_err());
    }

    #[test]
    fn water_has_the_unit_of_its_field_and_is_kept_as_it_was_typed() {
        let us = Units { volume: Volumes::UsGallons, ..Units::default() };
        let kept = |typed: &str| super::says(None, &form("water", typed), us).unwrap();
        for (typed, water) in
            [("0.5", "0.5 US gal"), ("1 gal", "1 US gal"), ("0,5 l", "0,5 l"), ("1 imp gal", "1 imp gal")]
        {
            assert_eq!(kept(typed), Says::Water { water: water.to_owned() });
        }
        let problem = super::says(None, &form("water", "90"), us).unwrap_err();
        assert_eq!(problem.remedy, "give 0 to 52.8 US gal");
        assert!(says(None, &form("water", "1 gal")).unwrap_err().remedy.contains("1 US gal or 1 imp gal"));
    }

    #[test]
    fn what_the_machine_file_does_not_know_is_refused_with_a_remedy() {
        let tern = tern();
        for (what, value) in
            [("complaint", "smells of violets"), ("code", "F99"), ("works", "flies"), ("dance", "x")]
        {
            let problem = says(Some(&tern), &form(what, value)).unwrap_err();
            assert!(!problem.remedy.is_empty(), "{what}");
        }
        assert!(
            says(None, &form("complaint", "does not heat")).unwrap_err().message.contains("no machine file")
        );
    }
}
