//! The rating plate and the panels.

use super::fields::{Fields, Findings, Text};
use crate::diagnostic::{Diagnostic, nearest};
use crate::model::{Class, Panel, PanelId, Plate};
use crate::schema;
use quantity::Dimension;

/// Reads `[machine]` and `[access]`; the third is the variant to read, where the file has any.
pub(super) fn read(
    file: &Fields<'_>,
    wanted: Option<&str>,
    findings: &mut Findings,
) -> (Option<Plate>, Vec<Panel>, Option<String>) {
    let panels = panels(file, findings);
    let Some((table, span)) = file.table("machine", findings) else { return (None, panels, None) };
    let fields = Fields::open(table, "[machine]", span.clone(), &schema::MACHINE, findings);
    let variants = fields.words_list("variants", findings);
    let variant = choose_variant(&variants, wanted, &fields, findings);
    let supply = fields.text("supply", findings).and_then(|t| supply(&t, findings));
    let class = fields.text("class", findings).and_then(|t| class(&t, findings));
    let rated_w = fields.quantity("rated-power", Dimension::Power, findings).map(|q| q.nominal);
    let heat = fields.quantity("heat-capacity", Dimension::HeatCapacity, findings);
    let plate = Plate {
        kind: fields.words("kind", findings),
        maker: fields.words("maker", findings),
        model: fields.words("model", findings),
        variants,
        supply_v: supply.map_or(230.0, |s| s.0),
        supply_hz: supply.map_or(50.0, |s| s.1),
        rated_w,
        class: class.unwrap_or(Class::I),
        // Empty washer: drum and tub add 2 … 8 kJ/K (common practice, no source); the middle where the file is silent.
        heat_capacity_j_k: heat.map_or(5_000.0, |q| q.nominal),
        at: span,
    };
    (Some(plate), panels, variant)
}

fn choose_variant(
    variants: &[String],
    wanted: Option<&str>,
    fields: &Fields<'_>,
    findings: &mut Findings,
) -> Option<String> {
    match wanted {
        Some(name) if !variants.iter().any(|v| v == name) => {
            let list = if variants.is_empty() { "none".to_owned() } else { variants.join(", ") };
            findings.push(
                Diagnostic::error(
                    "unknown-variant",
                    fields.span(),
                    format!("this file has no variant `{name}`"),
                )
                .mend(format!("variants here: {list}")),
            );
            None
        }
        Some(name) => Some(name.to_owned()),
        None => variants.first().cloned(),
    }
}

/// "230 V 50 Hz".
fn supply(text: &Text, findings: &mut Findings) -> Option<(f64, f64)> {
    let split = text.text.find(['V', 'v']).map(|i| i + 1);
    let (volts, hertz) = match split {
        Some(at) => (text.text[..at].trim(), text.text[at..].trim_matches([' ', ',', '~'])),
        None => (text.text.as_str(), ""),
    };
    let volts = quantity::parse(volts, Dimension::Voltage);
    let hertz = quantity::parse(hertz, Dimension::Frequency);
    match (volts, hertz) {
        (Ok(v), Ok(f)) if v > 0.0 && f > 0.0 && v <= 1000.0 && f <= 1000.0 => Some((v, f)),
        _ => {
            findings.push(
                Diagnostic::error(
                    "notation",
                    text.span.clone(),
                    "the supply needs its volts and its frequency",
                )
                .label("not a supply")
                .mend("write for instance \"230 V 50 Hz\""),
            );
            None
        }
    }
}

fn class(text: &Text, findings: &mut Findings) -> Option<Class> {
    match text.text.as_str() {
        "I" => Some(Class::I),
        "II" => Some(Class::II),
        "III" => Some(Class::III),
        other => {
            findings.push(
                Diagnostic::error("unknown-class", text.span.clone(), format!("`{other}` is no protection class"))
                    .mend("write \"I\" (earthed), \"II\" (double insulation, square in a square) or \"III\" (low voltage)"),
            );
            None
        }
    }
}

fn panels(file: &Fields<'_>, findings: &mut Findings) -> Vec<Panel> {
    let tables = file.named_tables("access", findings);
    let names: Vec<String> = tables.iter().map(|(n, _, _)| n.text.clone()).collect();
    let mut panels = Vec::new();
    for (name, table, span) in &tables {
        let fields =
            Fields::open(table, format!("[access.{}]", name.text), span.clone(), &schema::PANEL, findings);
        let after = resolve(&fields.texts("after", findings), &names, findings);
        panels.push(Panel {
            name: name.text.clone(),
            minutes: fields.number("minutes", findings).unwrap_or(0.0),
            after,
            caution: fields.words("caution", findings),
        });
    }
    refuse_circles(&panels, &tables.iter().map(|(n, _, _)| n.span.clone()).collect::<Vec<_>>(), findings);
    panels
}

/// Panel names to indices.
pub(super) fn resolve(texts: &[Text], names: &[String], findings: &mut Findings) -> Vec<PanelId> {
    let mut found = Vec::new();
    for text in texts {
        if let Some(at) = names.iter().position(|n| *n == text.text) {
            found.push(at);
            continue;
        }
        let mut d = Diagnostic::error(
            "unknown-panel",
            text.span.clone(),
            format!("no panel is called `{}`", text.text),
        )
        .label("not in [access]");
        d = match nearest(&text.text, names.iter().map(String::as_str)) {
            Some(near) => d.mend(format!("did you mean \"{near}\"?")),
            None => d.mend(format!("panels here: {}; or add [access.{}]", names.join(", "), text.text)),
        };
        findings.push(d);
    }
    found
}

fn refuse_circles(panels: &[Panel], spans: &[crate::model::Span], findings: &mut Findings) {
    for (start, panel) in panels.iter().enumerate() {
        let mut seen = vec![false; panels.len()];
        let mut open = panel.after.clone();
        while let Some(next) = open.pop() {
            if next == start {
                findings.push(
                    Diagnostic::error(
                        "circular-access",
                        spans[start].clone(),
                        format!("`{}` must come off before itself", panel.name),
                    )
                    .mend("take one of the `after` entries out"),
                );
                break;
            }
            if !std::mem::replace(&mut seen[next], true) {
                open.extend(&panels[next].after);
            }
        }
    }
}
