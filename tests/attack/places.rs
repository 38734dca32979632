//! Every place in a body where a value stands, by the schema of the operation, with a body in which something stands there.

use serde_json::{Value, json};

use crate::operations::{Operation, resolve};
use crate::support::fixture;
use crate::support::promise::validator_of;

/// What a place takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Words, days, instants, codes.
    Text,
    /// An id.
    Id,
    /// A number or yes and no.
    Other,
    /// An object.
    Object,
}

/// A place.
#[derive(Clone, Debug)]
pub struct Place {
    /// Where it is.
    pub pointer: String,
    /// A body in which something stands there.
    pub body: Value,
    /// What it takes.
    pub kind: Kind,
    /// The names that an object has.
    pub names: Vec<String>,
}

impl Place {
    /// The property's name; for an element, its list's.
    pub fn name(&self) -> &str {
        let named = |part: &&str| part.parse::<usize>().is_err();
        self.pointer.rsplit('/').find(named).unwrap_or_default()
    }

    /// The body with this JSON text in the place, as text: what stands there need not be JSON.
    pub fn with(&self, json: &str) -> String {
        const MARK: &str = "@@here@@";
        let mut body = self.body.clone();
        match body.pointer_mut(&self.pointer) {
            Some(place) => *place = Value::from(MARK),
            None => panic!("nothing stands at {}", self.pointer),
        }
        body.to_string().replace(&format!("\"{MARK}\""), json)
    }
}

/// Every place of the operation's body, from this body as its base.
pub fn places(operation: &Operation, base: &Value) -> Vec<Place> {
    let mut found = Vec::new();
    if let Some(schema) = operation.json_schema() {
        walk(schema, base, "", &mut Vec::new(), &mut found);
    }
    found
}

fn walk(schema: &'static Value, root: &Value, pointer: &str, inside: &mut Vec<&'static str>, found: &mut Vec<Place>) {
    if let Some(name) = schema["$ref"].as_str() {
        if inside.contains(&name) {
            return;
        }
        inside.push(name);
        walk(resolve(name).expect("a reference that leads somewhere"), root, pointer, inside, found);
        inside.pop();
        return;
    }
    for variant in ["oneOf", "anyOf"].iter().filter_map(|key| schema[*key].as_array()).flatten() {
        if variant["type"] == "null" {
            continue;
        }
        let fits = root.pointer(pointer).is_some_and(|here| validator_of(variant).is_valid(here));
        let body = if fits { root.clone() } else { placed(root, pointer, sample(variant)) };
        walk(variant, &body, pointer, inside, found);
    }
    for part in schema["allOf"].as_array().into_iter().flatten() {
        walk(part, root, pointer, inside, found);
    }
    if let Some(properties) = schema["properties"].as_object() {
        let names = properties.keys().cloned().collect();
        found.push(Place { pointer: pointer.to_owned(), body: root.clone(), kind: Kind::Object, names });
        for (name, inner) in properties {
            below(inner, root, &format!("{pointer}/{name}"), inside, found);
        }
    }
    if schema["items"].is_object() {
        let none = root.pointer(pointer).and_then(Value::as_array).is_none_or(Vec::is_empty);
        let least = schema["minItems"].as_u64().and_then(|least| usize::try_from(least).ok()).unwrap_or(1).max(1);
        let items = || Value::from(vec![sample(&schema["items"]); least]);
        let body = if none { placed(root, pointer, items()) } else { root.clone() };
        walk(&schema["items"], &body, &format!("{pointer}/0"), inside, found);
    }
    if let Some(kind) = leaf(schema) {
        found.push(Place { pointer: pointer.to_owned(), body: root.clone(), kind, names: Vec::new() });
    }
}

/// A property: where the body has nothing there, a sample is put there first.
fn below(schema: &'static Value, root: &Value, pointer: &str, inside: &mut Vec<&'static str>, found: &mut Vec<Place>) {
    let empty = root.pointer(pointer).is_none_or(Value::is_null);
    let body = if empty { placed(root, pointer, sample(schema)) } else { root.clone() };
    walk(schema, &body, pointer, inside, found);
}

fn placed(root: &Value, pointer: &str, value: Value) -> Value {
    let mut root = root.clone();
    if let Some(place) = root.pointer_mut(pointer) {
        *place = value;
        return root;
    }
    let (parent, name) = pointer.rsplit_once('/').expect("a pointer below the root");
    let parent = root.pointer_mut(parent).unwrap_or_else(|| panic!("nothing above {pointer}"));
    parent.as_object_mut().expect("an object").insert(name.to_owned(), value);
    root
}

fn is(schema: &Value, kind: &str) -> bool {
    schema["type"] == kind || schema["type"].as_array().is_some_and(|kinds| kinds.contains(&Value::from(kind)))
}

fn leaf(schema: &Value) -> Option<Kind> {
    if is(schema, "string") {
        return Some(if schema["format"] == "uuid" { Kind::Id } else { Kind::Text });
    }
    ["integer", "number", "boolean"].iter().any(|kind| is(schema, kind)).then_some(Kind::Other)
}

/// Something that the schema takes.
pub fn sample(schema: &Value) -> Value {
    if let Some(name) = schema["$ref"].as_str() {
        return sample(resolve(name).expect("a reference that leads somewhere"));
    }
    if let Some(value) = ["example", "default"].iter().map(|key| &schema[*key]).find(|value| !value.is_null()) {
        return value.clone();
    }
    if let Some(first) = schema["enum"].get(0) {
        return first.clone();
    }
    let variants = ["oneOf", "anyOf"].iter().filter_map(|key| schema[*key].as_array()).flatten();
    if let Some(variant) = variants.into_iter().find(|variant| variant["type"] != "null") {
        return sample(variant);
    }
    if let Some(properties) = schema["properties"].as_object() {
        let needed = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
        return needed.map(|name| (name.to_owned(), properties.get(name).map_or(Value::Null, sample))).collect();
    }
    if is(schema, "array") {
        let least = schema["minItems"].as_u64().and_then(|least| usize::try_from(least).ok()).unwrap_or(0);
        return Value::from(vec![sample(&schema["items"]); least]);
    }
    if is(schema, "integer") || is(schema, "number") {
        return schema.get("minimum").cloned().unwrap_or(json!(1));
    }
    if is(schema, "boolean") {
        return json!(false);
    }
    match schema["format"].as_str() {
        Some("uuid") => json!(fixture::TROOP),
        Some("date") => json!("2040-01-08"),
        Some("date-time") => json!("2040-01-08T00:00:00Z"),
        _ => a_word(schema),
    }
}

/// Words of each form that a body asks for; a new form says here what fits it.
fn a_word(schema: &Value) -> Value {
    let hexadecimal = "0".repeat(64);
    let forms = ["x", "xxx", "10:00", "USD", "A", "\"v1\"", "leave_out", "a@example.org", &hexadecimal];
    let validator = validator_of(schema);
    let fitting = forms.iter().map(|form| json!(form)).find(|form| validator.is_valid(form));
    fitting.unwrap_or_else(|| panic!("none of the words of tests/attack/places.rs fits {schema}"))
}

/// Where nothing can be wrong with the rest, only what stands in a place is tried: so every base must be valid.
#[test]
fn every_body_that_is_attacked_is_valid_before() {
    let mut count = 0;
    for operation in crate::operations::OPERATIONS.iter() {
        let Some(example) = operation.json_example() else { continue };
        let validator = validator_of(operation.json_schema().expect("a schema"));
        for place in places(operation, &example) {
            let faults: Vec<String> = validator.iter_errors(&place.body).map(|fault| fault.to_string()).collect();
            assert!(faults.is_empty(), "{} {}: {faults:?}\n{}", operation.id, place.pointer, place.body);
            count += 1;
        }
    }
    println!("{count} places");
    assert!(count > 200, "{count} places are too few to be all");
}
