//! What stands in the places of a path: for each kind of thing one of the own troop, one of another troop, one of another
//! unit, one that does not exist and one that is no id.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde_json::Value;
use uuid::Uuid;

use crate::operations::Operation;
use crate::support::fixture::{self, Somebody};

/// Which thing is meant, seen from troop 0101 of Juniper Ridge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Target {
    /// Of troop 0101, or of the unit as a whole.
    Own,
    /// Of troop 0102.
    Other,
    /// Of another unit, under the own unit's path.
    Away,
    /// An id that nothing has.
    Missing,
    /// No id at all.
    Malformed,
    /// Of another unit, under that unit's path.
    AwayUnit,
    /// Under the path of a unit that does not exist.
    MissingUnit,
    /// Under a path whose unit is no id.
    MalformedUnit,
}

impl Target {
    /// Whether the path names another unit than the own one.
    pub const fn elsewhere(self) -> bool {
        matches!(self, Self::AwayUnit | Self::MissingUnit | Self::MalformedUnit)
    }
}

/// All of them.
pub const TARGETS: [Target; 8] = [
    Target::Own,
    Target::Other,
    Target::Away,
    Target::Missing,
    Target::Malformed,
    Target::AwayUnit,
    Target::MissingUnit,
    Target::MalformedUnit,
];

/// The list of a unit, as `prepared.rs` prepares it.
fn list_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0x600).to_string()
}

/// The filed return of a unit, as `prepared.rs` prepares it.
fn return_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0x700).to_string()
}

/// The waiver of a unit that waits for a second person, as `prepared.rs` prepares it.
fn waiver_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0x800).to_string()
}

/// A fact entered by hand in a unit, as `prepared.rs` prepares it.
fn fact_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0xa00).to_string()
}

/// The override of a unit that waits for a second person, as `prepared.rs` prepares it.
fn override_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0x900).to_string()
}

/// The draft of a unit, as `prepared.rs` prepares it.
fn message_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0xd00).to_string()
}

/// The webhook of a unit, as `prepared.rs` prepares it.
fn webhook_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0xb00).to_string()
}

/// What was sent to it.
fn delivery_of(unit: Uuid) -> String {
    Uuid::from_u128(unit.as_u128() + 0xc00).to_string()
}

/// The secret of the calendar address of a unit's manager, as `prepared.rs` prepares it.
fn calendar_of(unit: Uuid) -> String {
    URL_SAFE_NO_PAD.encode([unit.as_bytes().as_slice(), &[7; 32]].concat())
}

fn person(who: &Somebody) -> String {
    who.place.expect("a place").person.to_string()
}

/// The own, other and away thing for a place in a path. Where things do not belong to a troop there is no other.
fn things(parameter: &str) -> (String, Option<String>, String) {
    match parameter {
        "unit_id" => (fixture::UNIT.to_string(), None, fixture::AWAY_UNIT.to_string()),
        "season_id" => (fixture::SEASON.to_string(), None, fixture::AWAY_SEASON.to_string()),
        "milestone_id" => (
            fixture::milestone(fixture::SEASON, 0).to_string(),
            None,
            fixture::milestone(fixture::AWAY_SEASON, 0).to_string(),
        ),
        "troop_id" => {
            (fixture::TROOP.to_string(), Some(fixture::OTHER_TROOP.to_string()), fixture::AWAY_TROOP.to_string())
        }
        "person_id" => (person(&fixture::PIOTR), Some(person(&fixture::YESENIA)), person(&fixture::AWAY_COORDINATOR)),
        "assignment_id" => (
            fixture::PIOTRS_ASSIGNMENT.to_string(),
            Some(fixture::YESENIAS_ASSIGNMENT.to_string()),
            fixture::AWAY_ASSIGNMENT.to_string(),
        ),
        "grant_id" => {
            (fixture::grant(&fixture::VIEWER).to_string(), None, fixture::grant(&fixture::STRANGER).to_string())
        }
        "intake_id" => (list_of(fixture::UNIT), None, list_of(fixture::AWAY_UNIT)),
        "return_id" => (return_of(fixture::UNIT), None, return_of(fixture::AWAY_UNIT)),
        "waiver_id" => (waiver_of(fixture::UNIT), None, waiver_of(fixture::AWAY_UNIT)),
        "override_id" => (override_of(fixture::UNIT), None, override_of(fixture::AWAY_UNIT)),
        "message_id" => (message_of(fixture::UNIT), None, message_of(fixture::AWAY_UNIT)),
        "evidence_id" => (fact_of(fixture::UNIT), None, fact_of(fixture::AWAY_UNIT)),
        "webhook_id" => (webhook_of(fixture::UNIT), None, webhook_of(fixture::AWAY_UNIT)),
        "delivery_id" => (delivery_of(fixture::UNIT), None, delivery_of(fixture::AWAY_UNIT)),
        "row_number" => ("1".to_owned(), None, "1".to_owned()),
        "duty" => ("treasurer".to_owned(), None, "treasurer".to_owned()),
        // Keys and sessions are one's own; that another's is not found is shown in tests/api/keys.rs and sessions.rs.
        "key_id" | "session_id" => (fixture::NOTHING.to_string(), None, fixture::NOTHING.to_string()),
        "secret" => (calendar_of(fixture::UNIT), None, calendar_of(fixture::AWAY_UNIT)),
        "code" => ("not_found".to_owned(), None, "not_found".to_owned()),
        other => panic!("{{{other}}} is new in a path: say in tests/gates/objects.rs which things it can name"),
    }
}

/// The value for a place in a path; none if there is no such thing.
fn value(parameter: &str, target: Target) -> Option<String> {
    let (own, other, away) = things(parameter);
    if parameter == "unit_id" {
        return Some(match target {
            Target::AwayUnit => away,
            Target::MissingUnit => fixture::NOTHING.to_string(),
            Target::MalformedUnit => "rubbish".to_owned(),
            _ => own,
        });
    }
    match target {
        Target::Own | Target::MissingUnit | Target::MalformedUnit => Some(own),
        Target::Other => other,
        Target::Away | Target::AwayUnit => Some(away),
        Target::Missing => Some(fixture::NOTHING.to_string()),
        Target::Malformed => Some("rubbish".to_owned()),
    }
}

/// The path for a target; none if the operation has no such thing.
pub fn path(operation: &Operation, target: Target) -> Option<String> {
    let parameters = operation.path_parameters();
    let names_things = parameters.iter().any(|name| name != "unit_id");
    let applies = match target {
        Target::Own => true,
        Target::Other => parameters.iter().any(|name| things(name).1.is_some()),
        Target::Away | Target::Missing | Target::Malformed => operation.in_unit() && names_things,
        Target::AwayUnit | Target::MissingUnit | Target::MalformedUnit => operation.in_unit(),
    };
    let mut path = operation.pattern.clone();
    for name in parameters.iter().filter(|_| applies) {
        // Things that belong to no troop are the own ones beside another troop's.
        let here = value(name, target).or_else(|| value(name, Target::Own))?;
        path = path.replace(&format!("{{{name}}}"), &here);
    }
    applies.then_some(path)
}

/// The query of an operation: what must be there, by its own example or first choice.
pub fn query(operation: &Operation) -> String {
    let parameters = operation.value["parameters"].as_array().into_iter().flatten();
    // A stream is asked for what is there, so that its answer ends.
    let needed =
        parameters.filter(|one| one["in"] == "query" && (one["required"] == true || one["name"] == "wait_seconds"));
    let pairs: Vec<String> = needed
        .map(|one| {
            let schema = one["schema"]["$ref"].as_str().and_then(crate::operations::resolve).unwrap_or(&one["schema"]);
            let sample = [&one["example"], &schema["example"], &schema["enum"][0], &schema["default"]];
            let sample = sample.into_iter().find(|value| !value.is_null());
            let text = sample.map_or_else(String::new, |value| value.as_str().map_or(value.to_string(), str::to_owned));
            format!("{}={text}", one["name"].as_str().unwrap_or_default())
        })
        .collect();
    if pairs.is_empty() { String::new() } else { format!("?{}", pairs.join("&")) }
}

/// The example body, with ids of the fixture in the places of ids.
pub fn body(operation: &Operation, target: Target) -> Option<Value> {
    let mut body = operation.json_example()?;
    place(&mut body, target);
    Some(body)
}

fn place(value: &mut Value, target: Target) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map.iter_mut() {
                let known = ["unit_id", "season_id", "troop_id", "person_id", "assignment_id"].contains(&key.as_str());
                if known && inner.is_string() {
                    let id = self::value(key, target).or_else(|| self::value(key, Target::Own));
                    *inner = Value::from(id.unwrap_or_default());
                } else {
                    place(inner, target);
                }
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| place(item, target)),
        _ => {}
    }
}
