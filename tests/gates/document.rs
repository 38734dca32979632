//! The document says everything that must be said of every operation, and the table for people says the same.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use crate::operations::{OPERATIONS, Operation, resolve};
use crate::support::promise::validator_of;
use crate::table;

/// Who may do these is anybody. The list may only shrink, or grow with a reason in the commit.
const PUBLIC: &[&str] = &[
    "read_liveness",
    "read_readiness",
    "read_metrics",
    "read_root",
    "read_document",
    "explain_problem",
    // Pages behind links, with nothing in them: what they send is asked for like everything else.
    "open_invitation",
    "open_reset",
    "open_email",
    "open_sign_in",
    "read_style",
    "read_script",
    "sign_in",
    "refresh_session",
    "accept_invitation",
    "accept_reset",
    "accept_sign_in_link",
    "accept_email",
    // Whoever forgot a password cannot sign in; what is answered tells nothing of any account.
    "ask_for_reset",
    "ask_for_sign_in_link",
    // A calendar program sends no sign-in: its secret address is asked for each time.
    "open_calendar",
];

/// Who may do these is whoever is signed in, each with their own account's things. The list may only
/// shrink, or grow with a reason in the commit.
const SIGNED_IN: &[&str] = &[
    "sign_out",
    "list_sessions",
    "end_session",
    "end_all_sessions",
    "confirm_session",
    "change_password",
    "change_email",
    "begin_second_factor",
    "confirm_second_factor",
    "renew_recovery_codes",
    "remove_second_factor",
    "join_unit",
    "read_me",
    "make_key",
    "list_keys",
    "revoke_key",
    "list_units",
];

/// What is open to who must have a second factor and has none yet: setting one up, and signing out. The list may only shrink.
const WITHOUT_SECOND_FACTOR: &[&str] = &[
    "begin_second_factor",
    "confirm_second_factor",
    "sign_out",
    "list_sessions",
    "end_session",
    "end_all_sessions",
    "read_me",
];

fn ids(of: impl Fn(&Operation) -> bool) -> BTreeSet<&'static str> {
    OPERATIONS.iter().filter(|operation| of(operation)).map(|operation| operation.id.as_str()).collect()
}

#[test]
fn the_exemptions_are_exactly_those_listed() {
    assert_eq!(ids(Operation::is_public), PUBLIC.iter().copied().collect());
    assert_eq!(ids(|operation| operation.permission == "signed_in"), SIGNED_IN.iter().copied().collect());
}

#[test]
fn without_a_second_factor_one_sets_it_up_and_signs_out_and_does_nothing_else() {
    let open = ids(|operation| !operation.value["x-without-second-factor"].is_null());
    assert_eq!(open, WITHOUT_SECOND_FACTOR.iter().copied().collect());
}

#[test]
fn every_operation_has_a_permission_that_the_code_knows() {
    for operation in OPERATIONS.iter() {
        let known = caselot::auth::permission::ALL.contains(&operation.permission.as_str());
        assert!(known || matches!(operation.permission.as_str(), "public" | "signed_in"), "{}", operation.id);
    }
}

#[test]
fn the_table_for_people_has_every_operation_with_its_permission_and_no_other() {
    let in_table: BTreeMap<String, String> =
        table::read().into_iter().map(|(operation, row)| (operation, row.permission)).collect();
    let in_document: BTreeMap<String, String> =
        OPERATIONS.iter().map(|operation| (operation.id.clone(), operation.permission.clone())).collect();
    assert_eq!(in_table, in_document, "left: tests/gates/permissions.csv, right: the document");
}

/// A type that stands in a query alone is not gathered by itself (`api/server/document.rs` names those).
#[test]
fn every_reference_names_something_that_is_there() {
    fn references(value: &Value, found: &mut BTreeSet<String>) {
        match value {
            Value::Object(map) => {
                found.extend(map.get("$ref").and_then(Value::as_str).map(str::to_owned));
                map.values().for_each(|inner| references(inner, found));
            }
            Value::Array(items) => items.iter().for_each(|inner| references(inner, found)),
            _ => {}
        }
    }
    let mut found = BTreeSet::new();
    references(&crate::support::promise::DOCUMENT_JSON, &mut found);
    assert!(found.len() > 50, "{found:?}");
    let missing: Vec<&String> = found.iter().filter(|reference| resolve(reference).is_none()).collect();
    assert_eq!(missing, Vec::<&String>::new());
}

#[test]
fn every_operation_says_what_it_is() {
    let mut seen = BTreeSet::new();
    for Operation { id, value, .. } in OPERATIONS.iter() {
        let words: Vec<&str> = id.split('_').collect();
        let plain = words.iter().all(|word| !word.is_empty() && word.bytes().all(|byte| byte.is_ascii_lowercase()));
        assert!(plain && words.len() >= 2, "{id:?} is not <verb>_<noun>");
        assert!(seen.insert(id), "{id} names two operations");
        for key in ["summary", "description"] {
            assert!(value[key].as_str().is_some_and(|text| text.trim().len() > 5), "{id} has no {key}");
        }
        assert_eq!(value["tags"].as_array().map(Vec::len), Some(1), "{id} belongs to one group");
        assert!(value["security"].is_array(), "{id}: who is it for?");
        let responses = value["responses"].as_object().expect("responses");
        assert!(responses.keys().any(|status| status.starts_with('2')), "{id} never succeeds");
        for (status, response) in responses {
            let said = response["description"].as_str().is_some_and(|text| !text.trim().is_empty());
            assert!(said, "{id}: {status} has no description");
        }
        for parameter in value["parameters"].as_array().into_iter().flatten() {
            let said = parameter["description"].as_str().is_some_and(|text| !text.trim().is_empty());
            assert!(said, "{id}: parameter {} has no description", parameter["name"]);
        }
    }
}

/// The reference page is read by people who come to do something, and each group says who that is.
#[test]
fn every_operation_stands_in_a_group_that_says_for_whom_it_is() {
    let groups = crate::support::promise::DOCUMENT_JSON["tags"].as_array().expect("groups").clone();
    let names: Vec<&str> = groups.iter().filter_map(|group| group["name"].as_str()).collect();
    let wanted = [
        "Getting in",
        "What needs me now",
        "Standing",
        "Evidence and decisions",
        "Messages",
        "Lists",
        "Return",
        "People and troops",
        "Season and policy",
        "Scripts and keys",
        "Server",
    ];
    assert_eq!(names, wanted);
    for group in &groups {
        assert!(group["description"].as_str().is_some_and(|about| about.starts_with("For ")), "{group}");
    }
    let mut held = BTreeSet::new();
    for Operation { id, value, .. } in OPERATIONS.iter() {
        let group = value["tags"][0].as_str().expect("a group");
        assert!(names.contains(&group), "{id} stands in {group}: name it or its feature in api/server/groups.rs");
        held.insert(group);
    }
    assert_eq!(held.len(), names.len(), "a group without operations");
    let of = |id: &str| OPERATIONS.iter().find(|one| one.id == id).expect("an operation").value["tags"][0].clone();
    assert_eq!(
        (of("sign_in"), of("make_key"), of("approve_waiver")),
        ("Getting in".into(), "Scripts and keys".into(), "Evidence and decisions".into())
    );
}

#[test]
fn every_place_in_a_path_is_declared_and_nothing_else() {
    for operation in OPERATIONS.iter() {
        let declared = operation.value["parameters"].as_array().into_iter().flatten();
        let declared: BTreeSet<&str> =
            declared.filter(|one| one["in"] == "path").filter_map(|one| one["name"].as_str()).collect();
        let in_path = operation.path_parameters();
        assert_eq!(in_path.iter().map(String::as_str).collect::<BTreeSet<_>>(), declared, "{}", operation.id);
    }
}

#[test]
fn every_body_has_an_example_that_is_valid_by_its_own_schema() {
    for operation in OPERATIONS.iter() {
        let Some(schema) = operation.json_schema() else { continue };
        let example = operation.json_example().unwrap_or_else(|| panic!("{}: the body has no example", operation.id));
        let validator = validator_of(schema);
        let faults: Vec<String> = validator.iter_errors(&example).map(|fault| fault.to_string()).collect();
        assert!(faults.is_empty(), "{}: {faults:?}", operation.id);
    }
}

/// R14: what a request type does not name is refused, at every depth.
#[test]
fn no_body_takes_a_key_that_is_not_named() {
    for operation in OPERATIONS.iter() {
        let Some(schema) = operation.json_schema() else { continue };
        let mut seen = BTreeSet::new();
        let mut open = Vec::new();
        walk(schema, &mut seen, &mut open);
        assert!(open.is_empty(), "{}: these objects take unknown keys: {open:?}", operation.id);
    }
}

fn walk(schema: &Value, seen: &mut BTreeSet<String>, open: &mut Vec<String>) {
    if let Some(name) = schema["$ref"].as_str() {
        if seen.insert(name.to_owned()) {
            walk(resolve(name).expect("a reference that leads somewhere"), seen, open);
        }
        return;
    }
    if let Some(properties) = schema["properties"].as_object() {
        if schema["additionalProperties"] != Value::Bool(false) {
            open.push(properties.keys().cloned().collect::<Vec<_>>().join(", "));
        }
        properties.values().for_each(|property| walk(property, seen, open));
    }
    if schema["items"].is_object() {
        walk(&schema["items"], seen, open);
    }
    for key in ["oneOf", "anyOf", "allOf"] {
        schema[key].as_array().into_iter().flatten().for_each(|part| walk(part, seen, open));
    }
}

/// Every handler in the source is an operation of the document: the router takes its routes from the same list as the
/// document does, so a handler that is missing there is one that nobody registered.
#[test]
fn no_handler_in_the_source_is_missing_in_the_document() {
    let mut handlers = BTreeSet::new();
    let mut folders = vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/api"))];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder of the source") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                let text = std::fs::read_to_string(&path).expect("a source file");
                handlers.extend(text.lines().filter_map(route_of));
            }
        }
    }
    let documented: BTreeSet<(String, String)> =
        OPERATIONS.iter().map(|operation| (operation.method.to_string(), operation.pattern.clone())).collect();
    assert_eq!(handlers, documented, "left: the source, right: the document");
}

/// The method and path of `#[get("/v1/..")]`.
fn route_of(line: &str) -> Option<(String, String)> {
    let (method, rest) = line.trim().strip_prefix("#[")?.split_once("(\"")?;
    let known = ["get", "post", "put", "patch", "delete", "head", "options", "route"].contains(&method);
    known.then(|| (method.to_uppercase(), rest.split('"').next().unwrap_or_default().to_owned()))
}
