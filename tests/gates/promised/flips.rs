//! The gate is tried on changes of the document that would break a client, each by itself, and on some that would not.

use serde_json::{Value, json};

use super::{breaks, codes, lines, told};
use crate::support::promise::DOCUMENT_JSON;

const TROOPS: &str = "/paths/~1v1~1units~1{unit_id}~1troops";

type Flip = fn(&mut Value);

/// A part of the document, to be changed.
fn part<'a>(document: &'a mut Value, pointer: &str) -> &'a mut Value {
    document.pointer_mut(pointer).unwrap_or_else(|| panic!("the document has no {pointer}"))
}

fn remove(document: &mut Value, pointer: &str, key: &str) {
    let gone = part(document, pointer).as_object_mut().and_then(|object| object.remove(key));
    assert!(gone.is_some(), "{pointer} has no {key}");
}

fn keep(document: &mut Value, pointer: &str, keeps: fn(&Value) -> bool) {
    let items = part(document, pointer).as_array_mut().expect("a list");
    let before = items.len();
    items.retain(keeps);
    assert!(items.len() < before, "{pointer} has nothing to take away");
}

fn push(document: &mut Value, pointer: &str, item: Value) {
    part(document, pointer).as_array_mut().expect("a list").push(item);
}

/// The parameter of `list_troops` with this name.
fn parameter<'a>(document: &'a mut Value, name: &str) -> &'a mut Value {
    let all = part(document, &format!("{TROOPS}/get/parameters")).as_array_mut().expect("parameters");
    all.iter_mut().find(|one| one["name"] == name).expect("the parameter")
}

fn schema(document: &mut Value, pointer: &str, value: Value) {
    *part(document, &format!("/components/schemas/{pointer}")) = value;
}

fn property(document: &mut Value, of: &str, name: &str) {
    let fields = part(document, &format!("/components/schemas/{of}/properties"));
    fields.as_object_mut().expect("fields").insert(name.to_owned(), json!({"type": "string"}));
}

/// What is changed, and one of the lines by which it is noticed.
const BREAKS: &[(&str, Flip, &str)] = &[
    ("an operation", |d| remove(d, TROOPS, "post"), "operation add_troop POST /v1/units/{unit_id}/troops"),
    (
        "an operation's name",
        |d| *part(d, &format!("{TROOPS}/post/operationId")) = json!("make_troop"),
        "operation add_troop POST /v1/units/{unit_id}/troops",
    ),
    (
        "another permission",
        |d| *part(d, &format!("{TROOPS}/get/x-permission")) = json!("troops.change"),
        "permission list_troops troops.read",
    ),
    (
        "a parameter",
        |d| keep(d, &format!("{TROOPS}/get/parameters"), |one| one["name"] != "search"),
        "parameter list_troops query search string",
    ),
    (
        "a parameter of another type",
        |d| parameter(d, "search")["schema"] = json!({"type": "integer"}),
        "parameter list_troops query search string",
    ),
    (
        "a parameter that must be there",
        |d| parameter(d, "search")["required"] = json!(true),
        "demands list_troops query search",
    ),
    (
        "a new parameter that must be there",
        |d| {
            let new = json!({"name": "colour", "in": "query", "required": true, "schema": {"type": "string"}});
            push(d, &format!("{TROOPS}/get/parameters"), new);
        },
        "demands list_troops query colour",
    ),
    (
        "another status",
        |d| {
            let made = part(d, &format!("{TROOPS}/post/responses/201")).take();
            remove(d, &format!("{TROOPS}/post/responses"), "201");
            part(d, &format!("{TROOPS}/post/responses"))["200"] = made;
        },
        "answer add_troop 201 application/json Troop",
    ),
    (
        "a field of an answer",
        |d| remove(d, "/components/schemas/Troop/properties", "number"),
        "gives Troop.number string",
    ),
    (
        "a field that is not always there any more",
        |d| keep(d, "/components/schemas/Troop/required", |name| name != "number"),
        "always Troop.number",
    ),
    (
        "a field that may be null now",
        |d| schema(d, "Troop/properties/number", json!({"type": ["string", "null"]})),
        "gives Troop.number string",
    ),
    (
        "a field of another type",
        |d| schema(d, "Troop/properties/in_season", json!({"$ref": "#/components/schemas/TroopState"})),
        "gives Troop.in_season boolean",
    ),
    (
        "a field of a body",
        |d| remove(d, "/components/schemas/NewTroop/properties", "name"),
        "takes NewTroop.name string",
    ),
    (
        "a field that must be sent",
        |d| push(d, "/components/schemas/NewTroop/required", json!("name")),
        "demands NewTroop.name",
    ),
    (
        "a new field that must be sent",
        |d| {
            property(d, "NewTroop", "colour");
            push(d, "/components/schemas/NewTroop/required", json!("colour"));
        },
        "demands NewTroop.colour",
    ),
    (
        "a value of an enumeration",
        |d| keep(d, "/components/schemas/TroopState/enum", |one| one != "lapsed"),
        "value TroopState lapsed",
    ),
    ("another id", |d| schema(d, "TroopId", json!({"type": "integer"})), "type TroopId string/uuid"),
    (
        "another type of file",
        |d| remove(d, "/paths/~1v1~1units~1{unit_id}~1intakes/post/requestBody/content", "text/csv"),
        "body upload_list text/csv string",
    ),
];

#[test]
fn whatever_breaks_a_client_is_noticed() {
    let before = lines::of(&DOCUMENT_JSON, &codes());
    for (what, flip, line) in BREAKS {
        let mut document = DOCUMENT_JSON.clone();
        flip(&mut document);
        let broken = breaks(&before, &lines::of(&document, &codes()));
        assert!(broken.contains(*line), "{what}: {line:?} is not in {broken:?}");
    }
}

#[test]
fn a_code_that_is_gone_or_has_another_status_is_noticed() {
    let before = lines::of(&DOCUMENT_JSON, &codes());
    let without: Vec<_> = codes().into_iter().filter(|(code, _)| *code != "version_stale").collect();
    let other: Vec<_> =
        codes().into_iter().map(|(code, status)| (code, if code == "version_stale" { 409 } else { status })).collect();
    for codes in [without, other] {
        let broken = breaks(&before, &lines::of(&DOCUMENT_JSON, &codes));
        assert_eq!(broken.into_iter().collect::<Vec<_>>(), ["problem version_stale 412"]);
    }
}

#[test]
fn what_only_adds_breaks_nobody() {
    let before = lines::of(&DOCUMENT_JSON, &codes());
    let harmless: &[(&str, Flip)] = &[
        ("a field of an answer", |d| property(d, "Troop", "colour")),
        ("a field that may be sent", |d| property(d, "NewTroop", "colour")),
        ("a value", |d| push(d, "/components/schemas/TroopState/enum", json!("resting"))),
        ("a parameter that may be left out", |d| {
            let new = json!({"name": "colour", "in": "query", "required": false, "schema": {"type": "string"}});
            push(d, &format!("{TROOPS}/get/parameters"), new);
        }),
        ("what need not be sent any more", |d| {
            keep(d, "/components/schemas/NewTroop/required", |name| name != "age_band");
        }),
        ("an operation that asks for what it likes", |d| {
            let mut new = part(d, &format!("{TROOPS}/post")).clone();
            new["operationId"] = json!("paint_troop");
            new["requestBody"]["content"]["application/json"]["schema"] =
                json!({"$ref": "#/components/schemas/NewColour"});
            part(d, "/paths")["/v1/colours"] = json!({"post": new});
            let colour = json!({"type": "object", "required": ["name"], "properties": {"name": {"type": "string"}}});
            part(d, "/components/schemas")["NewColour"] = colour;
        }),
    ];
    for (what, flip) in harmless {
        let mut document = DOCUMENT_JSON.clone();
        flip(&mut document);
        let after = lines::of(&document, &codes());
        assert_ne!(before, after, "{what}: the lines do not tell it");
        assert_eq!(breaks(&before, &after).into_iter().collect::<Vec<_>>(), Vec::<String>::new(), "{what}");
    }
}

#[test]
fn the_changelog_tells_a_break_by_its_line_under_a_day() {
    let text = "# Changes\n`operation a_b GET /a`\n## 2040-01-31\n- `operation c_d GET /c` is `e` now.\n## Later\n`operation f_g GET /f`\n";
    assert_eq!(told(text).into_iter().collect::<Vec<_>>(), ["e", "operation c_d GET /c"]);
}
