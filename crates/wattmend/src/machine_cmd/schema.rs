//! `wattmend machine schema`: JSON Schema of a machine file, so that editors complete and check.

use machine::kind::{self, PartKind, Takes};
use machine::schema::{FILE, FORMAT, Form, Key, PART, Table};
use serde_json::{Map, Value, json};

/// The schema, draft 2020-12.
pub(crate) fn schema() -> Value {
    let mut file = table(&FILE);
    file["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    file["title"] = json!("Wattmend machine file");
    file["properties"]["format"] = json!({ "const": FORMAT, "description": "version of the format" });
    file["$defs"] = json!({ "part": part() });
    file
}

fn table(table: &Table) -> Value {
    let properties: Map<String, Value> = table.keys.iter().map(|k| (k.name.to_owned(), key(k))).collect();
    let required: Vec<&str> = table.keys.iter().filter(|k| k.must).map(|k| k.name).collect();
    json!({
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

fn key(key: &Key) -> Value {
    let mut value = form(key.form);
    value["description"] = match key.form {
        Form::Quantity(what) => json!(format!("{} (a {what} with its unit)", key.about)),
        _ => json!(key.about),
    };
    value
}

fn form(form: Form) -> Value {
    let text = json!({ "type": "string" });
    let texts = json!({ "type": "array", "items": text });
    match form {
        Form::Text | Form::Quantity(_) => text,
        Form::Number => json!({ "type": "number" }),
        Form::Flag => json!({ "type": "boolean" }),
        Form::Texts => texts,
        Form::TextOrTexts => json!({ "anyOf": [text, texts] }),
        Form::Names(t) => json!({ "type": "object", "additionalProperties": table(t) }),
        Form::Table(t) => table(t),
        Form::Tables(t) => json!({ "type": "array", "items": table(t) }),
        Form::TextByName => json!({ "type": "object", "additionalProperties": text }),
        Form::NumberByName => json!({ "type": "object", "additionalProperties": { "type": "number" } }),
        Form::Pairs => {
            json!({ "type": "array", "items": { "type": "array", "items": text, "minItems": 2, "maxItems": 2 } })
        }
        Form::Parts => json!({ "type": "object", "additionalProperties": { "$ref": "#/$defs/part" } }),
    }
}

/// A part: the keys of every part, and for each kind its own. `unevaluatedProperties` lets the branch for the kind add
/// keys and still refuses all others.
fn part() -> Value {
    let mut common = table(&PART);
    let mut kinds: Vec<&PartKind> = kind::all().to_vec();
    kinds.sort_unstable_by_key(|k| k.name);
    let names: Vec<Value> =
        kinds.iter().map(|k| json!({ "const": k.name, "description": k.about })).collect();
    common["properties"]["kind"] = json!({ "anyOf": names, "description": "a part kind of the library" });
    if let Some(object) = common.as_object_mut() {
        object.remove("additionalProperties");
    }
    common["allOf"] = kinds.iter().map(|k| of_kind(k)).collect();
    common["unevaluatedProperties"] = json!(false);
    common
}

fn of_kind(kind: &PartKind) -> Value {
    let mut properties: Map<String, Value> = Map::new();
    for p in kind.params {
        let mut value = takes(p.takes);
        value["description"] = json!(p.about);
        if let Some(default) = p.default {
            value["default"] = json!(default);
        }
        properties.insert(p.name.to_owned(), value);
    }
    let modes: Map<String, Value> = kind
        .modes
        .iter()
        .map(|m| (m.name.to_owned(), json!({ "type": "number", "minimum": 0, "description": m.says })))
        .collect();
    properties.insert("rates".to_owned(), json!({ "properties": modes, "additionalProperties": false }));
    let required: Vec<&str> = kind.params.iter().filter(|p| p.must).map(|p| p.name).collect();
    json!({
        "if": { "properties": { "kind": { "const": kind.name } }, "required": ["kind"] },
        "then": { "properties": properties, "required": required },
    })
}

fn takes(takes: Takes) -> Value {
    match takes {
        Takes::Choice(words) => json!({ "enum": words }),
        Takes::Flag => json!({ "type": "boolean" }),
        Takes::Table(..) => form(Form::Pairs),
        Takes::Quantity(_) | Takes::RatedAt(..) | Takes::Range(_) => {
            json!({ "type": "string", "examples": [super::kinds::example(takes).replace('"', "")] })
        }
        Takes::Words | Takes::Part => json!({ "type": "string" }),
    }
}
