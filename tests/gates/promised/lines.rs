//! What the document promises a client, in lines: one a thing that a client may rely on.

use std::collections::BTreeSet;

use serde_json::Value;

/// The lines, sorted.
pub type Lines = BTreeSet<String>;

/// All lines of a document and of the codes of problems that its server can answer with.
///
/// A line that begins with `demands` is the other way round: what a client must send. Such a line may go, and may not come.
pub fn of(document: &Value, codes: &[(&str, u16)]) -> Lines {
    let mut lines = Lines::new();
    let (mut taken, mut given) = (BTreeSet::new(), BTreeSet::new());
    for (pattern, item) in document["paths"].as_object().into_iter().flatten() {
        for (method, operation) in item.as_object().into_iter().flatten() {
            of_operation(&method.to_uppercase(), pattern, operation, &mut lines);
            gather(document, &operation["parameters"], &mut taken);
            gather(document, &operation["requestBody"], &mut taken);
            gather(document, &operation["responses"], &mut given);
        }
    }
    for (name, schema) in document["components"]["schemas"].as_object().into_iter().flatten() {
        if !schema["properties"].is_object() {
            lines.insert(format!("type {name} {}", kind(schema)));
        }
        if taken.contains(name) {
            of_fields(name, schema, ("takes", "demands"), &mut lines);
        }
        if given.contains(name) {
            of_fields(name, schema, ("gives", "always"), &mut lines);
        }
    }
    lines.extend(codes.iter().map(|(code, status)| format!("problem {code} {status}")));
    lines
}

fn of_operation(method: &str, pattern: &str, operation: &Value, lines: &mut Lines) {
    let id = operation["operationId"].as_str().unwrap_or_default();
    let permission = operation["x-permission"].as_str().unwrap_or_default();
    lines.insert(format!("operation {id} {method} {pattern}"));
    lines.insert(format!("permission {id} {permission}"));
    for parameter in operation["parameters"].as_array().into_iter().flatten() {
        let (name, place) = (parameter["name"].as_str(), parameter["in"].as_str());
        let (name, place) = (name.unwrap_or_default(), place.unwrap_or_default());
        lines.insert(format!("parameter {id} {place} {name} {}", kind(&parameter["schema"])));
        of_fields(&format!("{id}.{name}"), &parameter["schema"], ("takes", "demands"), lines);
        if parameter["required"] == true {
            lines.insert(format!("demands {id} {place} {name}"));
        }
    }
    for (media, content) in operation["requestBody"]["content"].as_object().into_iter().flatten() {
        lines.insert(format!("body {id} {media} {}", kind(&content["schema"])));
    }
    if operation["requestBody"]["required"] == true {
        lines.insert(format!("demands {id} body"));
    }
    // Every refusal is a problem document; which one is said by its code.
    for (status, response) in operation["responses"].as_object().into_iter().flatten() {
        let content = response["content"].as_object();
        if content.is_none() && status.as_str() < "400" {
            lines.insert(format!("answer {id} {status}"));
        }
        for (media, content) in content.into_iter().flatten().filter(|_| status.as_str() < "400") {
            lines.insert(format!("answer {id} {status} {media} {}", kind(&content["schema"])));
        }
    }
}

/// The fields of a type, and of what is described in its place; `verbs` say that a field is there and that it must be.
fn of_fields(name: &str, schema: &Value, verbs: (&str, &str), lines: &mut Lines) {
    let required: BTreeSet<&str> =
        schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    for (field, inner) in schema["properties"].as_object().into_iter().flatten() {
        let place = format!("{name}.{field}");
        lines.insert(format!("{} {place} {}", verbs.0, kind(inner)));
        if required.contains(field.as_str()) {
            lines.insert(format!("{} {place}", verbs.1));
        }
        of_fields(&place, inner, verbs, lines);
    }
    for key in ["oneOf", "anyOf", "allOf"] {
        for part in schema[key].as_array().into_iter().flatten() {
            of_fields(name, part, verbs, lines);
        }
    }
    if schema["items"].is_object() {
        of_fields(&format!("{name}[]"), &schema["items"], verbs, lines);
    }
    for value in schema["enum"].as_array().into_iter().flatten() {
        lines.insert(format!("value {name} {}", value.as_str().map_or_else(|| value.to_string(), str::to_owned)));
    }
}

/// The kind of a value in a few words: what a generator makes a type of.
fn kind(schema: &Value) -> String {
    if let Some(name) = schema["$ref"].as_str() {
        return name.rsplit('/').next().unwrap_or_default().to_owned();
    }
    for key in ["oneOf", "anyOf", "allOf"] {
        if let Some(parts) = schema[key].as_array() {
            return joined(parts.iter().map(kind).collect());
        }
    }
    let types = match &schema["type"] {
        Value::Array(types) => types.iter().filter_map(Value::as_str).map(str::to_owned).collect(),
        one => one.as_str().map(str::to_owned).into_iter().collect(),
    };
    let mut kind = joined(types);
    for (key, word) in [("items", "of"), ("additionalProperties", "to")] {
        if schema[key].is_object() {
            kind = format!("{kind} {word} {}", self::kind(&schema[key]));
        }
    }
    match schema["format"].as_str() {
        Some(format) => format!("{kind}/{format}"),
        None => kind,
    }
}

fn joined(mut kinds: Vec<String>) -> String {
    kinds.sort_unstable();
    kinds.join("|")
}

/// The names of the types that a part of the document leads to.
fn gather(document: &Value, part: &Value, found: &mut BTreeSet<String>) {
    match part {
        Value::Object(entries) => {
            if let Some(name) = entries.get("$ref").and_then(|target| target.as_str()?.rsplit('/').next())
                && found.insert(name.to_owned())
            {
                gather(document, &document["components"]["schemas"][name], found);
            }
            entries.values().for_each(|inner| gather(document, inner, found));
        }
        Value::Array(items) => items.iter().for_each(|item| gather(document, item, found)),
        _ => {}
    }
}
