//! Codes, guards, functions, the service test and the file's own checks.

use super::Draft;
use super::board::find_output;
use super::fields::{Fields, Findings, Text};
use super::plate::resolve;
use crate::diagnostic::{Diagnostic, nearest};
use crate::kind::Power;
use crate::model::{
    Code, CodeId, Condition, Drive, Function, GoesOn, Guard, Moment, Otherwise, OwnCheck, ServiceTest, Step,
    Test, Then,
};
use crate::schema;
use quantity::Dimension;

/// The second half of a machine.
#[derive(Default)]
pub(super) struct Reactions {
    pub(super) guards: Vec<Guard>,
    pub(super) functions: Vec<Function>,
    pub(super) test: ServiceTest,
    pub(super) codes: Vec<Code>,
    pub(super) checks: Vec<OwnCheck>,
}

/// Reads them all.
pub(super) fn read(file: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> Reactions {
    let codes = codes(file, findings);
    Reactions {
        guards: guards(file, draft, &codes, findings),
        functions: functions(file, draft, findings),
        test: service_test(file, draft, findings),
        checks: checks(file, draft, findings),
        codes,
    }
}

fn codes(file: &Fields<'_>, findings: &mut Findings) -> Vec<Code> {
    let mut codes: Vec<Code> = Vec::new();
    for (table, span) in file.tables("code", findings) {
        let fields = Fields::open(table, "[[code]]", span, &schema::CODE, findings);
        let Some(id) = fields.text("id", findings) else { continue };
        if codes.iter().any(|c| c.id == id.text) {
            findings.push(
                Diagnostic::error("double-name", id.span.clone(), format!("code `{}` stands twice", id.text))
                    .mend("take one out, or correct its name"),
            );
            continue;
        }
        codes.push(Code {
            says: fields.words("says", findings),
            lamps: fields.words_list("lamps", findings),
            at: id.span.clone(),
            id: id.text,
        });
    }
    codes
}

fn find_code(text: &Text, codes: &[Code], findings: &mut Findings) -> Option<CodeId> {
    let found = codes.iter().position(|c| c.id == text.text);
    if found.is_none() {
        let mut d = Diagnostic::error(
            "unknown-code",
            text.span.clone(),
            format!("no code is called `{}`", text.text),
        );
        if let Some(near) = nearest(&text.text, codes.iter().map(|c| c.id.as_str())) {
            d = d.mend(format!("did you mean \"{near}\"?"));
        }
        findings.push(d.mend(format!("or add it: [[code]] id = \"{}\"", text.text)));
    }
    found
}

/// Parses a condition: `level >= 4 l`, `water-temp plausible`, `not door`, `drum-speed follows within 2 s`.
fn condition(text: &Text, draft: &Draft, findings: &mut Findings) -> Option<Condition> {
    let words = text.text.trim();
    let (negated, words) = match words.strip_prefix("not ") {
        Some(rest) => (true, rest.trim()),
        None => (false, words),
    };
    let split = words.find(|c: char| c.is_whitespace() || c == '>' || c == '<').unwrap_or(words.len());
    let (name, rest) = (&words[..split], words[split..].trim());
    let Some(input) = draft.inputs.iter().position(|i| i.name == name) else {
        let names: Vec<&str> = draft.inputs.iter().map(|i| i.name.as_str()).collect();
        let mut d =
            Diagnostic::error("unknown-input", text.span.clone(), format!("the board has no input `{name}`"));
        d = match nearest(name, names.iter().copied()) {
            Some(near) => d.mend(format!("did you mean `{near}`?")),
            None => d.mend(format!("inputs: {}", names.join(", "))),
        };
        findings.push(d);
        return None;
    };
    let test = condition_test(text, draft, input, (rest, negated), findings)?;
    Some(Condition { input, test, text: text.text.clone() })
}

fn condition_test(
    text: &Text,
    draft: &Draft,
    input: usize,
    (rest, negated): (&str, bool),
    findings: &mut Findings,
) -> Option<Test> {
    let dimension = match &draft.inputs[input].senses {
        crate::model::Senses::Volts { .. } => Dimension::Voltage,
        crate::model::Senses::Part { part, .. } => draft.parts[*part].kind.behaviour.reports(),
        _ => Dimension::Resistance,
    };
    // A quantity at the end of the text, with its place for the message.
    let mut tail = |rest: &str, dimension| {
        let rest = rest.trim();
        let start = text.text.len() - rest.len();
        let piece = Text { text: rest.to_owned(), span: text.part(&(start..text.text.len())) };
        piece.parse(findings, |t| quantity::parse(t, dimension))
    };
    if rest.is_empty() {
        return Some(if negated { Test::False } else { Test::True });
    }
    if !negated {
        if rest == "plausible" {
            if draft.inputs[input].plausible.is_none() {
                findings.push(
                    Diagnostic::error(
                        "no-range",
                        text.span.clone(),
                        format!("`{}` has no plausible range", draft.inputs[input].name),
                    )
                    .mend("add `plausible = \"… .. …\"` to the input"),
                );
                return None;
            }
            return Some(Test::Plausible);
        }
        if let Some(value) = rest.strip_prefix(">=") {
            return tail(value, dimension).map(Test::AtLeast);
        }
        if let Some(value) = rest.strip_prefix("<=") {
            return tail(value, dimension).map(Test::AtMost);
        }
        if let Some(value) = rest.strip_prefix("follows within ") {
            return tail(value, Dimension::Time).map(Test::FollowsWithin);
        }
    }
    findings.push(
        Diagnostic::error("condition", text.span.clone(), format!("`{}` is no condition", text.text)).mend(
            "write \"INPUT\", \"not INPUT\", \"INPUT plausible\", \"INPUT >= 4 l\", \"INPUT <= 1 l\" or \"INPUT follows within 2 s\"",
        ),
    );
    None
}

fn guards(file: &Fields<'_>, draft: &Draft, codes: &[Code], findings: &mut Findings) -> Vec<Guard> {
    let mut guards = Vec::new();
    for (table, span) in file.tables("guard", findings) {
        let fields = Fields::open(table, "[[guard]]", span.clone(), &schema::GUARD, findings);
        let (before, during) = (fields.text("before", findings), fields.text("while", findings));
        let (target, moment) = match (before, during) {
            (Some(t), None) => (t, Moment::Before),
            (None, Some(t)) => (t, Moment::While),
            _ => {
                findings.push(
                    Diagnostic::error(
                        "guard-moment",
                        span,
                        "a guard names one output, under `before` or `while`",
                    )
                    .mend("write `before = \"heat\"` or `while = \"drum\"`"),
                );
                continue;
            }
        };
        let output = find_output(&target, &draft.outputs, findings);
        let shared = fields.text("code", findings).and_then(|t| find_code(&t, codes, findings));
        let by_need: Vec<(Text, Option<CodeId>)> = fields
            .text_by_name("codes", findings)
            .into_iter()
            .map(|(need, code)| (need, find_code(&code, codes, findings)))
            .collect();
        let needs_texts = fields.texts("needs", findings);
        for (need, _) in &by_need {
            if !needs_texts.iter().any(|t| t.text == need.text) {
                findings.push(
                    Diagnostic::error(
                        "unknown-need",
                        need.span.clone(),
                        format!("`{}` is none of this guard's needs", need.text),
                    )
                    .mend("write it as it stands in `needs`"),
                );
            }
        }
        let needs = needs_texts
            .iter()
            .filter_map(|t| {
                let own = by_need.iter().find(|(need, _)| need.text == t.text).and_then(|(_, c)| *c);
                Some((condition(t, draft, findings)?, own.or(shared)))
            })
            .collect();
        let otherwise = fields.text("otherwise", findings).and_then(|t| otherwise(&t, findings));
        if let (Some(output), Some(otherwise)) = (output, otherwise) {
            guards.push(Guard { output, moment, needs, otherwise, at: target.span });
        }
    }
    guards
}

fn otherwise(text: &Text, findings: &mut Findings) -> Option<Otherwise> {
    match text.text.as_str() {
        "keeps off" => Some(Otherwise::KeepsOff),
        "stops step" => Some(Otherwise::StopsStep),
        "ends test" => Some(Otherwise::EndsTest),
        other => {
            findings.push(
                Diagnostic::error(
                    "unknown-word",
                    text.span.clone(),
                    format!("`{other}` is nothing a guard can do"),
                )
                .mend("write \"keeps off\", \"stops step\" or \"ends test\""),
            );
            None
        }
    }
}

/// Parses "drum 45 rpm right".
fn drive(text: &Text, draft: &Draft, findings: &mut Findings) -> Option<Drive> {
    let words = text.text.trim();
    let (name, rest) = words.split_once(char::is_whitespace).unwrap_or((words, ""));
    let name_text = Text { text: name.to_owned(), span: text.part(&(0..name.len())) };
    let output = find_output(&name_text, &draft.outputs, findings)?;
    let rest = rest.trim();
    if rest.is_empty() {
        return Some(Drive { output, rpm: 0.0, both_ways: false });
    }
    let (speed, sign, both_ways) = if let Some(s) = rest.strip_suffix("both ways") {
        (s, 1.0, true)
    } else if let Some(s) = rest.strip_suffix("right") {
        (s, 1.0, false)
    } else if let Some(s) = rest.strip_suffix("left") {
        (s, -1.0, false)
    } else {
        (rest, 1.0, false)
    };
    let rpm = match quantity::parse(speed.trim(), Dimension::Speed) {
        Ok(rpm) if rpm > 0.0 => rpm,
        _ => {
            findings.push(
                Diagnostic::error("drive", text.span.clone(), format!("`{rest}` is no speed and direction"))
                    .mend(format!(
                        "write \"{name}\", or with a speed \"{name} 45 rpm right\", left or both ways"
                    )),
            );
            return None;
        }
    };
    if draft.outputs[output].motor.is_none() {
        findings.push(
            Diagnostic::error(
                "drive",
                text.span.clone(),
                format!("output `{name}` turns no motor, so it has no speed"),
            )
            .mend(format!("write \"{name}\" alone, or give the output its motor: motor = \"…\"")),
        );
    }
    Some(Drive { output, rpm: sign * rpm, both_ways })
}

fn drives(fields: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> Vec<Drive> {
    fields.texts("drives", findings).iter().filter_map(|t| drive(t, draft, findings)).collect()
}

fn functions(file: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> Vec<Function> {
    let mut functions = Vec::new();
    for (name, table, span) in file.named_tables("function", findings) {
        let fields =
            Fields::open(table, format!("[function.{}]", name.text), span, &schema::FUNCTION, findings);
        let until = fields.text("until", findings).and_then(|t| condition(&t, draft, findings));
        let within = fields.quantity("within", Dimension::Time, findings).map_or(600.0, |q| q.nominal);
        functions.push(Function {
            name: name.text.clone(),
            complaints: fields.words_list("complaints", findings),
            drives: drives(&fields, draft, findings),
            water_l: fields.quantity("water", Dimension::Volume, findings).map_or(0.0, |q| q.nominal),
            until: until.map(|c| (c, within)),
            at: name.span.clone(),
        });
    }
    functions
}

fn service_test(file: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> ServiceTest {
    let Some((table, span)) = file.table("service-test", findings) else { return ServiceTest::default() };
    let fields = Fields::open(table, "[service-test]", span, &schema::SERVICE_TEST, findings);
    let mut steps: Vec<Step> = Vec::new();
    for (table, span) in fields.tables("step", findings) {
        if let Some(step) = step(
            &Fields::open(table, "[[service-test.step]]", span, &schema::STEP, findings),
            draft,
            findings,
        ) {
            if steps.iter().any(|s| s.id == step.id) {
                findings.push(
                    Diagnostic::error(
                        "double-name",
                        step.at.clone(),
                        format!("there are two steps `{}`", step.id),
                    )
                    .mend("give each step an id of its own"),
                );
            }
            steps.push(step);
        }
    }
    warn_of_coasting(&steps, draft, findings);
    ServiceTest {
        enter: fields.words("enter", findings),
        before: fields.words_list("before", findings),
        leave: fields.words("leave", findings),
        steps,
    }
}

fn step(fields: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> Option<Step> {
    let id = fields.text("id", findings)?;
    let seconds = |key: &str, findings: &mut Findings| {
        fields.quantity(key, Dimension::Time, findings).map(|q| q.nominal)
    };
    let drives = drives(fields, draft, findings);
    let shows_code = fields.flag("shows-code", findings);
    if drives.is_empty() && !shows_code && fields.get("drives").is_none() {
        findings.push(
            Diagnostic::error("idle-step", id.span.clone(), format!("step `{}` drives nothing", id.text))
                .mend("add `drives = [\"…\"]`, or `shows-code = true` where it only shows something"),
        );
    }
    let at_most_s = seconds("at-most", findings);
    let goes_on = fields.words("goes-on", findings);
    Some(Step {
        says: fields.words("says", findings),
        see: fields.words("see", findings),
        hear: fields.words("hear", findings),
        shows_code,
        goes_on: if goes_on == "by itself" { GoesOn::ByItself } else { GoesOn::Press(goes_on) },
        until: fields.text("until", findings).and_then(|t| condition(&t, draft, findings)),
        // A step of which the file gives no time: half a minute, what a person needs to read a meter.
        lasts_s: seconds("lasts", findings).or(at_most_s).unwrap_or(30.0),
        at_most_s,
        ramp_s: seconds("ramp", findings).unwrap_or(0.0),
        caution: fields.words("caution", findings),
        then: then(fields, findings),
        drives,
        at: id.span.clone(),
        id: id.text,
    })
}

fn then(fields: &Fields<'_>, findings: &mut Findings) -> Option<Then> {
    let (table, span) = fields.table("then", findings)?;
    let fields = Fields::open(table, "then", span, &schema::THEN, findings);
    Some(Then {
        caution: fields.words("caution", findings),
        wait: fields.words("wait", findings),
        run_down_s: fields.quantity("run-down", Dimension::Time, findings).map_or(0.0, |q| q.nominal),
    })
}

/// Speed above which a drum coasts long enough to be a danger in the next step, rpm.
const COASTS_ABOVE_RPM: f64 = 200.0;

/// A spin that is followed by another step without a word of caution.
fn warn_of_coasting(steps: &[Step], draft: &Draft, findings: &mut Findings) {
    for pair in steps.windows(2) {
        let (spin, next) = (&pair[0], &pair[1]);
        let fast = spin.drives.iter().any(|d| d.rpm.abs() > COASTS_ABOVE_RPM);
        let goes_on_turning = next.drives.iter().any(|d| {
            spin.drives
                .iter()
                .any(|s| s.output == d.output && s.rpm.signum() == d.rpm.signum() && !d.both_ways)
        });
        if fast && !goes_on_turning && spin.then.is_none() && !draft.outputs.is_empty() {
            findings.push(
                Diagnostic::warning(
                    "no-run-down",
                    spin.at.clone(),
                    format!("after `{}` the drum coasts, and `{}` follows without a caution", spin.id, next.id),
                )
                .mend("add `then = { caution = \"…\", wait = \"drum stopped\", run-down = \"40 s\" }` to the spin"),
            );
        }
    }
}

fn checks(file: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> Vec<OwnCheck> {
    let panel_names: Vec<String> = draft.panels.iter().map(|p| p.name.clone()).collect();
    let mut checks = Vec::new();
    for (table, span) in file.tables("check", findings) {
        let fields = Fields::open(table, "[[check]]", span, &schema::CHECK, findings);
        let Some(id) = fields.text("id", findings) else { continue };
        let mut yes_with = Vec::new();
        let mut yes_when_healthy = false;
        for text in fields.texts("yes-with", findings) {
            if text.text == "healthy" {
                yes_when_healthy = true;
            } else if let Some(fault) = fault(&text, draft, findings) {
                yes_with.push(fault);
            }
        }
        checks.push(OwnCheck {
            id: id.text,
            ask: fields.words("ask", findings),
            minutes: fields.number("minutes", findings).unwrap_or(0.0),
            behind: resolve(&fields.texts("behind", findings), &panel_names, findings),
            power: power(&fields, findings),
            caution: fields.words("caution", findings),
            yes_with,
            yes_when_healthy,
        });
    }
    checks
}

fn power(fields: &Fields<'_>, findings: &mut Findings) -> Power {
    let Some(text) = fields.text("power", findings) else { return Power::Dead };
    let known = Power::parse(&text.text);
    if known.is_none() {
        let words = Power::WORDS;
        findings.push(
            Diagnostic::error(
                "power",
                text.span.clone(),
                format!("`{}` is no way to supply a machine", text.text),
            )
            .mend(format!("write one of: {}", words.join(", "))),
        );
    }
    known.unwrap_or(Power::Dead)
}

/// Parses "element: open".
fn fault(text: &Text, draft: &Draft, findings: &mut Findings) -> Option<(usize, String)> {
    let Some((part, mode)) = text.text.split_once(':').map(|(p, m)| (p.trim(), m.trim())) else {
        findings.push(
            Diagnostic::error("fault", text.span.clone(), format!("`{}` is no fault", text.text))
                .mend("write \"part: mode\", for instance \"belt: broken\", or \"healthy\""),
        );
        return None;
    };
    let part_text = Text { text: part.to_owned(), span: text.span.clone() };
    let id = super::parts::find_part(&part_text, draft, findings)?;
    let kind = draft.parts[id].kind;
    if kind.mode(mode).is_none() {
        let modes: Vec<&str> = kind.modes.iter().map(|m| m.name).collect();
        findings.push(
            Diagnostic::error(
                "unknown-mode",
                text.span.clone(),
                format!("a {} has no fault mode `{mode}`", kind.name),
            )
            .mend(format!("modes: {}", modes.join(", "))),
        );
        return None;
    }
    Some((id, mode.to_owned()))
}
