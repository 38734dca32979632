//! The document as a whole: what a reader and a generator of clients need, looked for in the generated text itself.

use std::collections::BTreeMap;

use serde_json::Value;

fn document() -> Value {
    serde_json::from_str(&crate::server::document::TEXT).unwrap()
}

/// Every operation with its method.
fn operations(document: &Value) -> Vec<(&str, &Value)> {
    let items = document["paths"].as_object().unwrap().values();
    items.flat_map(|item| item.as_object().unwrap()).map(|(method, operation)| (method.as_str(), operation)).collect()
}

fn id(operation: &Value) -> &str {
    operation["operationId"].as_str().unwrap()
}

#[test]
fn every_operation_says_what_it_does_and_who_may_do_it_and_no_two_say_the_same() {
    let document = document();
    let mut seen = BTreeMap::new();
    for (_, operation) in operations(&document) {
        let summary = operation["summary"].as_str().unwrap_or_default();
        assert!(summary.len() > 10 && summary.ends_with('.'), "{}: summary {summary:?}", id(operation));
        let description = operation["description"].as_str().unwrap_or_default();
        assert!(description.len() > 10, "{}: no description", id(operation));
        if let Some(other) = seen.insert(summary, id(operation)) {
            panic!("{other} and {} have one summary: {summary}", id(operation));
        }
    }
}

#[test]
fn every_body_has_an_example() {
    let document = document();
    let mut without = Vec::new();
    for (_, operation) in operations(&document) {
        let Some(content) = operation["requestBody"]["content"].as_object() else { continue };
        let bare = |media: &Value| media["example"].is_null() && media["examples"].is_null();
        without.extend(content.iter().filter(|(_, media)| bare(media)).map(|(kind, _)| (id(operation), kind)));
    }
    assert_eq!(without, [], "give the type a #[schema(example = json!(..))]");
}

#[test]
fn every_text_and_every_list_has_a_bound() {
    let document = document();
    let mut unbounded = Vec::new();
    for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
        walk(name, schema, &mut unbounded);
    }
    for (_, operation) in operations(&document) {
        for parameter in operation["parameters"].as_array().into_iter().flatten() {
            let name = parameter["name"].as_str().unwrap();
            walk(&format!("{}?{name}", id(operation)), &parameter["schema"], &mut unbounded);
        }
    }
    assert_eq!(unbounded, Vec::<String>::new(), "see #[schema(max_length, max_items)] and common::short_text");
}

fn walk(place: &str, schema: &Value, unbounded: &mut Vec<String>) {
    let is = |kind: &str| match &schema["type"] {
        Value::Array(kinds) => kinds.iter().any(|one| one == kind),
        one => one == kind,
    };
    let fixed = ["uuid", "date", "date-time"].iter().any(|format| schema["format"] == *format);
    let listed = !schema["enum"].is_null() || !schema["const"].is_null();
    if is("string") && schema["maxLength"].is_null() && !fixed && !listed {
        unbounded.push(place.to_owned());
    }
    if is("array") && schema["maxItems"].is_null() {
        unbounded.push(place.to_owned());
    }
    for (name, property) in schema["properties"].as_object().into_iter().flatten() {
        walk(&format!("{place}/{name}"), property, unbounded);
    }
    if schema["items"].is_object() {
        walk(&format!("{place}[]"), &schema["items"], unbounded);
    }
    for form in ["oneOf", "anyOf", "allOf"] {
        for one in schema[form].as_array().into_iter().flatten() {
            walk(place, one, unbounded);
        }
    }
}

/// Of two types of one name the document silently keeps one, and then promises the wrong thing for the other.
#[test]
fn no_two_types_of_the_document_have_one_name() {
    let mut seen = BTreeMap::new();
    let mut folders = vec![std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("api")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let source = std::fs::read_to_string(&path).unwrap();
                for name in schema_names(&source) {
                    if let Some(other) = seen.insert(name.clone(), path.clone()) {
                        panic!(
                            "{name} stands in {} and {}: give one #[schema(as = ..)]",
                            other.display(),
                            path.display()
                        );
                    }
                }
            }
        }
    }
    assert!(seen.len() > 20, "the search finds nothing any more");
}

/// Generators of clients read a type into a variable of its name, and its fields into variables of theirs.
#[test]
fn no_type_of_the_document_has_a_field_of_its_own_name() {
    let document = document();
    let mut twice = Vec::new();
    for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
        let mut own = String::new();
        for sign in name.chars() {
            own.extend(sign.is_ascii_uppercase().then_some('_').filter(|_| !own.is_empty()));
            own.extend(sign.to_lowercase());
        }
        twice.extend((!schema["properties"][&own].is_null()).then_some(name));
    }
    assert_eq!(twice, Vec::<&String>::new(), "give the type another name for the document: #[schema(as = ..)]");
}

#[test]
fn a_file_is_bytes() {
    let document = document();
    let mut files = 0;
    for (_, operation) in operations(&document) {
        let answers = operation["responses"].as_object().unwrap().values();
        let contents = answers.chain([&operation["requestBody"]]).filter_map(|one| one["content"].as_object());
        for (kind, media) in
            contents.flatten().filter(|(kind, _)| !kind.starts_with("text/") && !kind.ends_with("json"))
        {
            let bytes = serde_json::json!({"type": "string", "format": "binary"});
            assert_eq!(media["schema"], bytes, "{}: {kind}", id(operation));
            files += 1;
        }
    }
    assert_eq!(files, 5, "one is sent, four are answered");
}

/// The names under which a file's types stand in the document.
fn schema_names(source: &str) -> Vec<String> {
    let mut names = Vec::new();
    let mut described: Option<Option<String>> = None;
    for line in source.lines() {
        let line = line.trim_start();
        if line.starts_with("#[derive(") && line.contains("ToSchema") {
            described = Some(None);
        } else if let (Some((_, renamed)), Some(_)) = (line.split_once("schema(as = "), &described) {
            described = Some(Some(renamed.trim_end_matches([')', ']']).to_owned()));
        } else if let Some(rest) = line.strip_prefix("pub struct ").or_else(|| line.strip_prefix("pub enum ")) {
            let own = rest.split(|sign: char| !sign.is_alphanumeric()).next().unwrap_or_default();
            names.extend(described.take().map(|renamed| renamed.unwrap_or_else(|| own.to_owned())));
        } else if let Some((page, _)) = line.split_once("Page of ") {
            names.push(format!("{page}Page"));
        }
    }
    // Macros write types too; their names begin with a sign of the macro language.
    names.retain(|name| name.starts_with(|first: char| first.is_ascii_uppercase()));
    names
}

#[test]
fn every_reference_leads_somewhere() {
    let document = document();
    let mut dangling = Vec::new();
    references(&document, &document, &mut dangling);
    assert_eq!(dangling, Vec::<String>::new(), "name the type in components(schemas(..)) of api/server/document.rs");
}

fn references(document: &Value, part: &Value, dangling: &mut Vec<String>) {
    match part {
        Value::Object(entries) => {
            for (key, value) in entries {
                match value.as_str().filter(|_| key == "$ref") {
                    Some(target) if document.pointer(target.trim_start_matches('#')).is_none() => {
                        dangling.push(target.to_owned());
                    }
                    _ => references(document, value, dangling),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| references(document, item, dangling)),
        _ => {}
    }
}

#[test]
fn every_read_may_answer_that_nothing_has_changed_and_every_change_is_guarded() {
    let document = document();
    for (method, operation) in operations(&document) {
        let has = |name: &str| operation["parameters"].as_array().into_iter().flatten().any(|one| one["name"] == name);
        let public = operation["x-permission"] == "public";
        match method {
            // A stream has no version: it goes on from a number of the log.
            "get" if id(operation) == "follow_events" => assert!(has("Last-Event-ID")),
            "get" => assert!(operation["responses"]["304"].is_object() && has("If-None-Match"), "{}", id(operation)),
            "post" => assert_eq!(has("Idempotency-Key"), !public, "{}", id(operation)),
            _ => assert!(has("If-Match"), "{}", id(operation)),
        }
    }
}
