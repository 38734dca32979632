//! Gate 9: the one choke point through which every answer passes. It fails on any status, content type or body that the
//! document does not promise, and on any problem that tells about the inside.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex};

use caselot::server::document::DOCUMENT;
use jsonschema::Validator;
use reqwest::Method;
use serde_json::{Value, json};

use super::client::Answered;

/// The generated document.
pub static DOCUMENT_JSON: LazyLock<Value> =
    LazyLock::new(|| serde_json::to_value(&*DOCUMENT).expect("a document in JSON"));

/// The document with every object closed: a key that the document does not name is as wrong as one that is missing.
static CLOSED: LazyLock<Value> = LazyLock::new(|| {
    let mut document = DOCUMENT_JSON.clone();
    close(&mut document["components"]["schemas"]);
    close(&mut document["paths"]);
    document
});

fn close(node: &mut Value) {
    match node {
        Value::Object(map) => {
            let all_of = map.contains_key("allOf");
            let plain_object = map.get("properties").is_some_and(Value::is_object) && !all_of;
            if plain_object && !map.contains_key("additionalProperties") {
                map.insert("additionalProperties".to_owned(), json!(false));
            }
            // Parts of an `allOf` see each other's keys, so they stay open.
            map.iter_mut().filter(|(key, _)| *key != "allOf" && *key != "example").for_each(|(_, value)| close(value));
        }
        Value::Array(items) => items.iter_mut().for_each(close),
        _ => {}
    }
}

/// Fails unless the document promises this answer. Gives the operation's id, if there is one.
#[track_caller]
pub fn check(method: &Method, path: &str, answered: &Answered) -> Option<String> {
    dressed(answered);
    if answered.status >= 400 {
        tells_nothing_of_the_inside(answered);
    }
    let path = path.split('?').next().unwrap_or_default();
    let read_as = if *method == Method::HEAD { "get" } else { &method.as_str().to_lowercase() };
    let Some((pattern, item)) = pattern_of(path) else {
        return nowhere(answered);
    };
    let operation = &item[read_as];
    if operation.is_null() {
        assert!(!answered.header("allow").is_empty(), "a path that exists names its methods: {answered}");
        let plain_options = *method == Method::OPTIONS && answered.status == 204;
        assert!(plain_options || answered.status == 405, "{answered}");
        return None;
    }
    let key = format!("{read_as} {pattern}");
    let response = &operation["responses"][answered.status.to_string()];
    assert!(response.is_object(), "{key}: status {} is not in the document: {answered}", answered.status);
    if *method == Method::HEAD {
        assert!(answered.body.is_empty(), "a HEAD has no body: {answered}");
    } else {
        body(&key, response, answered);
    }
    Some(operation["operationId"].as_str().expect("an operationId").to_owned())
}

/// What stands on every answer.
#[track_caller]
fn dressed(answered: &Answered) {
    assert_eq!(answered.header("x-content-type-options"), "nosniff", "{answered}");
    assert!(answered.header("content-security-policy").contains("frame-ancestors 'none'"), "{answered}");
    assert!(!answered.header("cache-control").is_empty(), "{answered}");
    if answered.status == 401 {
        assert!(answered.header("www-authenticate").starts_with("Bearer"), "a 401 names its scheme: {answered}");
    }
    if matches!(answered.status, 429 | 503) {
        assert!(answered.header("retry-after").parse::<u32>().is_ok(), "when may one try again? {answered}");
    }
}

/// R27: no SQL, file, version, constraint or database name.
#[track_caller]
fn tells_nothing_of_the_inside(answered: &Answered) {
    let text = String::from_utf8_lossy(&answered.body);
    for inside in
        ["sqlx", "postgres", "SELECT ", "select ", "insert into", "constraint", "panicked", ".rs:", "_pkey", "_unique"]
    {
        assert!(!text.contains(inside), "a problem says `{inside}`: {answered}");
    }
}

/// An address that the document does not have.
#[track_caller]
fn nowhere(answered: &Answered) -> Option<String> {
    if (300..400).contains(&answered.status) || answered.header("content-type").starts_with("text/html") {
        return None;
    }
    assert!(matches!(answered.status, 400..=599), "an answer of no operation: {answered}");
    let problem =
        json!({"content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}});
    body("nowhere", &problem, answered);
    None
}

#[track_caller]
fn body(key: &str, response: &Value, answered: &Answered) {
    let Some(content) = response["content"].as_object().filter(|content| !content.is_empty()) else {
        assert!(answered.body.is_empty(), "{key}: no body is promised: {answered}");
        return;
    };
    let sent = answered.header("content-type").split(';').next().unwrap_or_default().trim();
    let media = content.get(sent).unwrap_or_else(|| panic!("{key}: content type {sent:?} is not promised: {answered}"));
    if !sent.ends_with("json") {
        return;
    }
    let validator = validator(&format!("{key} {} {sent}", answered.status), &media["schema"]);
    let body = answered.json();
    let faults: Vec<String> =
        validator.iter_errors(&body).map(|fault| format!("{}: {fault}", fault.instance_path())).collect();
    assert!(faults.is_empty(), "{key}: the body is not as the document says: {faults:?}\n{answered}");
    if answered.status >= 400 {
        assert_eq!(body["status"], answered.status, "{answered}");
        assert_eq!(body["type"], format!("/problems/{}", body["code"].as_str().unwrap_or_default()), "{answered}");
    }
}

fn validator(key: &str, schema: &Value) -> Arc<Validator> {
    static MADE: LazyLock<Mutex<HashMap<String, Arc<Validator>>>> = LazyLock::new(Mutex::default);
    let mut made = MADE.lock().expect("the list of validators");
    let entry = made.entry(key.to_owned()).or_insert_with(|| Arc::new(compile(schema)));
    Arc::clone(entry)
}

/// A validator of a schema of the closed document.
fn compile(schema: &Value) -> Validator {
    let mut schema = schema.clone();
    close(&mut schema);
    against(&schema, &CLOSED)
}

/// A validator of a schema as it stands in the document, open where the document leaves it open.
pub fn validator_of(schema: &Value) -> Validator {
    against(schema, &DOCUMENT_JSON)
}

fn against(schema: &Value, document: &Value) -> Validator {
    let root = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "allOf": [schema],
        "components": document["components"],
    });
    let options = jsonschema::options().should_validate_formats(true);
    options.build(&root).unwrap_or_else(|error| panic!("a schema of the document is none: {error}"))
}

/// The pattern of the document that this path fits, literal parts before `{..}`.
fn pattern_of(path: &str) -> Option<(&'static str, &'static Value)> {
    let paths = DOCUMENT_JSON["paths"].as_object().expect("paths");
    let fitting = paths.iter().filter(|(pattern, _)| fits(pattern, path));
    fitting.min_by_key(|(pattern, _)| pattern.matches('{').count()).map(|(pattern, item)| (pattern.as_str(), item))
}

fn fits(pattern: &str, path: &str) -> bool {
    let (pattern, path): (Vec<&str>, Vec<&str>) = (pattern.split('/').collect(), path.split('/').collect());
    let part = |(wanted, given): (&&str, &&str)| wanted == given || (wanted.starts_with('{') && !given.is_empty());
    pattern.len() == path.len() && pattern.iter().zip(&path).all(part)
}
