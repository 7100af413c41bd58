//! The parts: their kinds, and the parameters that the kinds ask for.

use super::Draft;
use super::fields::{Fields, Findings, Text, as_text};
use super::plate::resolve;
use crate::diagnostic::{Diagnostic, nearest};
use crate::kind::{self, Param, PartKind, Takes};
use crate::model::{Part, Span};
use crate::params::{Params, Value};
use crate::schema;
use quantity::{NotationError, Toleranced};
use toml::de::{DeTable, DeValue};

/// Reads `[part.*]` into the draft, without terminals: those follow from the wiring.
pub(super) fn read(file: &Fields<'_>, draft: &mut Draft, findings: &mut Findings) {
    let tables = file.named_tables("part", findings);
    for (name, table, span) in &tables {
        if !part_name_is_good(&name.text) {
            findings.push(
                Diagnostic::error("part-name", name.span.clone(), format!("`{}` cannot be a part's name", name.text))
                    .mend("begin with a small letter; small letters, digits and hyphens follow (capitals are connectors)"),
            );
            continue;
        }
        let fields = Fields::bare(table, format!("[part.{}]", name.text), span.clone());
        let variants = fields.words_list("variants", findings);
        if absent(&variants, draft.variant.as_deref()) {
            draft.absent.push(name.text.clone());
            continue;
        }
        match part(name, &fields, draft, findings) {
            Some(part) => draft.parts.push(part),
            // Reported once; what mentions it is not wrong for that.
            None => draft.absent.push(name.text.clone()),
        }
    }
    link(&tables, draft, findings);
}

/// Does a thing with these `variants` not exist in the variant that is read?
pub(super) fn absent(variants: &[String], variant: Option<&str>) -> bool {
    !variants.is_empty() && variant.is_some_and(|v| !variants.iter().any(|x| x == v))
}

fn part_name_is_good(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_lowercase())
        && name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
        && name != "chassis"
        && name != "loom"
}

fn part(name: &Text, fields: &Fields<'_>, draft: &Draft, findings: &mut Findings) -> Option<Part> {
    let kind_text = fields.text("kind", findings);
    let Some(kind_text) = kind_text else {
        if fields.get("kind").is_none() {
            findings.push(
                Diagnostic::error(
                    "missing-key",
                    name.span.clone(),
                    format!("{} lacks `kind`", fields.name()),
                )
                .mend(format!("kinds: {}", kind_names())),
            );
        }
        return None;
    };
    let Some(kind) = kind::by_name(&kind_text.text) else {
        let mut d = Diagnostic::error(
            "unknown-kind",
            kind_text.span.clone(),
            format!("no part kind is called `{}`", kind_text.text),
        );
        d = match nearest(&kind_text.text, kind::all().iter().map(|k| k.name)) {
            Some(near) => d.mend(format!("did you mean \"{near}\"?")),
            None => d.mend(format!("kinds: {}", kind_names())),
        };
        findings.push(d);
        return None;
    };
    refuse_unknown_keys(fields, kind, findings);
    let panel_names: Vec<String> = draft.panels.iter().map(|p| p.name.clone()).collect();
    let params = params(kind, fields, findings);
    let rates = rates(kind, &params, fields, findings);
    Some(Part {
        id: name.text.clone(),
        kind,
        params,
        terminals: vec![None; kind.terminals.len()],
        behind: resolve(&fields.texts("behind", findings), &panel_names, findings),
        order: fields.words("order", findings),
        through: Vec::new(),
        watches: None,
        rates,
        note: fields.words("note", findings),
        ends: None,
        at: name.span.clone(),
    })
}

fn kind_names() -> String {
    kind::all().iter().map(|k| k.name).collect::<Vec<_>>().join(", ")
}

fn refuse_unknown_keys(fields: &Fields<'_>, kind: &PartKind, findings: &mut Findings) {
    let known = |k: &str| {
        (k != "output" && k != "input" || kind.behaviour.is_board())
            && (schema::PART.keys.iter().any(|key| key.name == k) || kind.params.iter().any(|p| p.name == k))
    };
    fields.refuse_unknown(findings, known, || {
        kind.params.iter().map(|p| p.name).chain(schema::PART.keys.iter().map(|k| k.name)).collect()
    });
}

/// Share of jobs of each mode: the file's own figure, else the kind's rate split by the shares of its modes.
pub(super) fn rates(
    kind: &PartKind,
    params: &Params,
    fields: &Fields<'_>,
    findings: &mut Findings,
) -> Vec<f64> {
    let mut rates = default_rates(kind, params);
    for (name, percent) in fields.number_by_name("rates", findings) {
        if let Some(at) = kind.modes.iter().position(|m| m.name == name.text) {
            rates[at] = percent;
            continue;
        }
        let modes: Vec<&str> = kind.modes.iter().map(|m| m.name).collect();
        let mut d = Diagnostic::error(
            "unknown-mode",
            name.span.clone(),
            format!("a {} has no fault mode `{}`", kind.name, name.text),
        );
        d = match nearest(&name.text, modes.iter().copied()) {
            Some(near) => d.mend(format!("did you mean `{near}`?")),
            None => d.mend(format!("modes: {}", modes.join(", "))),
        };
        findings.push(d);
    }
    rates
}

/// The kind's own rates. A mode that such a part cannot have leaves its share to the others.
fn default_rates(kind: &PartKind, params: &Params) -> Vec<f64> {
    let share = |m: &kind::Mode| if kind.behaviour.applies(params, m.name) { m.share } else { 0.0 };
    let total: f64 = kind.modes.iter().map(share).sum();
    let percent = |m| if total > 0.0 { kind.rate.percent * share(m) / total } else { 0.0 };
    kind.modes.iter().map(percent).collect()
}

/// The parameters of a part of which the file says nothing: a wire, an output's switch.
pub(super) fn default_params(kind: &'static PartKind) -> Params {
    let mut params = Params::default();
    for param in kind.params {
        if let Some(value) = param.default.and_then(|text| parse(param, text).ok()) {
            params.set(param.name, value);
        }
    }
    params
}

fn params(kind: &'static PartKind, fields: &Fields<'_>, findings: &mut Findings) -> Params {
    let mut params = Params::default();
    for param in kind.params {
        let value = if fields.get(param.name).is_some() {
            written(param, fields, findings)
        } else if let Some(text) = param.default {
            parse(param, text).ok()
        } else {
            if param.must {
                findings.push(
                    Diagnostic::error(
                        "missing-key",
                        fields.span(),
                        format!("{} lacks `{}`", fields.name(), param.name),
                    )
                    .label(format!("a {} needs it", kind.name))
                    .mend(format!(
                        "add `{} = {}` ({})",
                        param.name,
                        example(param.takes),
                        param.about
                    )),
                );
            }
            None
        };
        if let Some(value) = value {
            params.set(param.name, value);
        }
    }
    params
}

fn written(param: &Param, fields: &Fields<'_>, findings: &mut Findings) -> Option<Value> {
    match param.takes {
        Takes::Flag => Some(Value::Flag(fields.flag(param.name, findings))),
        Takes::Table(x, y) => table(param, (x, y), fields, findings),
        _ => {
            let text = fields.text(param.name, findings)?;
            if let Takes::Choice(words) = param.takes
                && !words.contains(&text.text.as_str())
            {
                findings.push(
                    Diagnostic::error(
                        "unknown-word",
                        text.span.clone(),
                        format!("`{}` is none of the words for `{}`", text.text, param.name),
                    )
                    .mend(format!("write one of: {}", words.join(", "))),
                );
                return None;
            }
            text.parse(findings, |t| parse(param, t))
        }
    }
}

/// Reads a text parameter in its notation.
fn parse(param: &Param, text: &str) -> Result<Value, NotationError> {
    Ok(match param.takes {
        Takes::Quantity(d) => Value::Quantity(quantity::parse_toleranced(text, d)?),
        Takes::RatedAt(d, at) => {
            let (q, at): (Toleranced, f64) = quantity::parse_at(text, d, at)?;
            Value::RatedAt(q, at)
        }
        Takes::Range(d) => {
            let (low, high) = quantity::parse_range(text, d)?;
            Value::Range(low, high)
        }
        Takes::Flag => Value::Flag(text == "true"),
        Takes::Table(..) | Takes::Choice(_) | Takes::Words | Takes::Part => Value::Text(text.to_owned()),
    })
}

fn table(
    param: &Param,
    (x, y): (quantity::Dimension, quantity::Dimension),
    fields: &Fields<'_>,
    findings: &mut Findings,
) -> Option<Value> {
    let value = fields.get(param.name)?;
    let DeValue::Array(rows) = value.get_ref() else {
        findings.push(
            Diagnostic::error(
                "wrong-form",
                value.span(),
                format!("`{}` must be a list of pairs", param.name),
            )
            .mend(format!("write for instance `{} = {}`", param.name, example(param.takes))),
        );
        return None;
    };
    let mut out: Vec<(f64, f64)> = Vec::new();
    for row in rows {
        let pair = match row.get_ref() {
            DeValue::Array(cells) if cells.len() == 2 => Some((as_text(&cells[0]), as_text(&cells[1]))),
            _ => None,
        };
        let Some((Some(a), Some(b))) = pair else {
            findings.push(
                Diagnostic::error(
                    "wrong-form",
                    row.span(),
                    "each row must be a pair of quantities in quotation marks",
                )
                .mend(format!("write for instance `{}`", example(param.takes))),
            );
            continue;
        };
        let first = a.parse(findings, |t| quantity::parse(t, x));
        let second = b.parse(findings, |t| quantity::parse(t, y));
        if let (Some(first), Some(second)) = (first, second) {
            if out.last().is_some_and(|&(last, _)| first <= last) {
                findings.push(
                    Diagnostic::error(
                        "not-ascending",
                        a.span.clone(),
                        "the first column must rise from row to row",
                    )
                    .mend("sort the rows by their first value, and take out doubles"),
                );
            } else {
                out.push((first, second));
            }
        }
    }
    Some(Value::Table(out))
}

fn example(takes: Takes) -> String {
    let unit = |d: quantity::Dimension| d.base_unit();
    match takes {
        Takes::Quantity(d) => format!("\"12 {}\"", unit(d)),
        Takes::RatedAt(d, at) => format!("\"1850 {} at 230 {}\"", unit(d), unit(at)),
        Takes::Range(d) => format!("\"10 .. 40 {}\"", unit(d)),
        Takes::Table(x, y) => {
            format!("[[\"45 {0}\", \"23 {1}\"], [\"1200 {0}\", \"380 {1}\"]]", unit(x), unit(y))
        }
        Takes::Choice(words) => format!("\"{}\"", words.first().copied().unwrap_or_default()),
        Takes::Flag => "true".to_owned(),
        Takes::Words => "\"…\"".to_owned(),
        Takes::Part => "\"name-of-a-part\"".to_owned(),
    }
}

/// Resolves what parts say of one another.
fn link(tables: &[(Text, &DeTable<'_>, Span)], draft: &mut Draft, findings: &mut Findings) {
    for (name, table, span) in tables {
        let Some(at) = draft.part(&name.text) else { continue };
        let fields = Fields::bare(table, format!("[part.{}]", name.text), span.clone());
        let through = fields.texts("through", findings);
        draft.parts[at].through = through.iter().filter_map(|t| find_part(t, draft, findings)).collect();
        if let Some(text) = fields.text("watches", findings) {
            draft.parts[at].watches = find_part(&text, draft, findings);
        }
        for param in draft.parts[at].kind.params.iter().filter(|p| matches!(p.takes, Takes::Part)) {
            if let Some(text) = fields.text(param.name, findings) {
                find_part(&text, draft, findings);
            }
        }
    }
}

/// The part with this name, or an error.
pub(super) fn find_part(text: &Text, draft: &Draft, findings: &mut Findings) -> Option<usize> {
    let found = draft.part(&text.text);
    if found.is_none() && !draft.is_absent(&text.text) {
        let mut d = Diagnostic::error(
            "unknown-part",
            text.span.clone(),
            format!("no part is called `{}`", text.text),
        )
        .label("not in this file");
        d = match nearest(&text.text, draft.parts.iter().map(|p| p.id.as_str())) {
            Some(near) => d.mend(format!("did you mean \"{near}\"?")),
            None => d.mend(format!("add a table [part.{}]", text.text)),
        };
        findings.push(d);
    }
    found
}
