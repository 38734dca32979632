//! R13: an id of another unit is answered as an id of nothing is, in every place of every body and query, and changes no row.

use std::collections::BTreeMap;

use serde_json::Value;
use uuid::Uuid;

use crate::aim::{Tally, dressed, insider};
use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation};
use crate::places::{Kind, places};
use crate::prepared::prepare;
use crate::rows;
use crate::support::client::Answered;
use crate::support::fixture::{self, AWAY_ASSIGNMENT, AWAY_COORDINATOR, AWAY_SEASON, AWAY_TROOP, AWAY_UNIT, NOTHING};
use crate::support::scenario;
use crate::support::world::World;

/// The thing of another unit that a property of this name means.
fn foreign(name: &str) -> Uuid {
    match name {
        "unit_id" => AWAY_UNIT,
        "person_id" | "into_person_id" | "person" => AWAY_COORDINATOR.place.expect("a place").person,
        "troop_id" | "into_troop_id" | "troop" => AWAY_TROOP,
        "assignment_id" => AWAY_ASSIGNMENT,
        "season_id" | "from_season_id" | "season" => AWAY_SEASON,
        "account" => AWAY_COORDINATOR.account,
        // An event outside is a decision or a filed return: the other unit's return, as `prepared.rs` makes it.
        "event_id" => Uuid::from_u128(AWAY_UNIT.as_u128() + 0x700),
        other => {
            panic!("{other} is a new kind of id in a body or query: say in tests/attack/references.rs what it names")
        }
    }
}

/// Ids that are none.
const MALFORMED: &[&str] =
    &["rubbish", "", "0198c0de-0000-7000-8000-00000000010", "0198c0de-0000-7000-8000-00000000010g", "null"];

/// Lists that a filter by an id of nothing leaves empty. The answer must be the same for an id of another unit.
fn bare(answer: &Answered, id: Uuid) -> (u16, BTreeMap<String, String>, String) {
    let mut body: Value = serde_json::from_slice(&answer.body).unwrap_or_default();
    for key in ["request_id", "instance", "stands_at", "at"] {
        if body.get(key).is_some() {
            body[key] = Value::Null;
        }
    }
    let fleeting = ["x-request-id", "date", "ratelimit", "etag", "link"];
    let headers = answer.headers.iter().filter(|(name, _)| !fleeting.contains(&name.as_str()));
    let headers = headers.map(|(name, value)| (name.to_string(), value.to_str().unwrap_or_default().to_owned()));
    // What was sent may be said back: then each answer names the id that it was sent.
    (answer.status, headers.collect(), body.to_string().replace(&id.to_string(), "(the id)"))
}

/// One place for an id, and how to ask with another one in it.
struct Aimed<'a> {
    world: &'a World,
    operation: &'a Operation,
    path: String,
    what: String,
}

impl Aimed<'_> {
    async fn ask(&self, tally: &mut Tally, query: &str, body: Option<String>) -> Option<Answered> {
        let path = format!("{}{query}", self.path);
        let mut asked = dressed(insider(self.world, self.operation), self.operation, &path, "\"v1\"");
        if let Some(body) = body {
            asked = asked.bytes("application/json", body);
        }
        tally.send(&self.what, asked).await
    }

    /// Whether a foreign id and one of nothing got the same answer, of these statuses.
    fn compare(&self, tally: &mut Tally, away: Option<Answered>, missing: Option<Answered>, id: Uuid, may: &[u16]) {
        let (Some(away), Some(missing)) = (away, missing) else { return };
        if bare(&away, id) != bare(&missing, NOTHING) {
            tally.faults.push(format!("{}: told apart from nothing: {away}\n{missing}", self.what));
        }
        if !may.contains(&away.status) {
            tally.faults.push(format!("{}: {away}", self.what));
        }
        let told = String::from_utf8_lossy(&away.body).into_owned();
        let secrets =
            ["Heron Slough", AWAY_COORDINATOR.first_name, AWAY_COORDINATOR.last_name, fixture::STRANGER.last_name];
        if secrets.iter().any(|secret| told.contains(secret)) {
            tally.faults.push(format!("{}: shows the other unit: {away}", self.what));
        }
    }
}

async fn in_body(world: &World, operation: &Operation, tally: &mut Tally) -> usize {
    let example = operation.json_example().into_iter().chain(objects::body(operation, Target::Own));
    let path = objects::path(operation, Target::Own).expect("a path");
    let path = format!("{path}{}", objects::query(operation));
    let mut count = 0;
    for base in example {
        for place in places(operation, &base).into_iter().filter(|place| place.kind == Kind::Id) {
            let id = foreign(place.name());
            let what = format!("{} {}", operation.id, place.pointer);
            let aimed = Aimed { world, operation, path: path.clone(), what };
            let away = aimed.ask(tally, "", Some(place.with(&format!("\"{id}\"")))).await;
            let missing = aimed.ask(tally, "", Some(place.with(&format!("\"{NOTHING}\"")))).await;
            aimed.compare(tally, away, missing, id, &[404, 409, 422]);
            for malformed in MALFORMED {
                let answer = aimed.ask(tally, "", Some(place.with(&format!("\"{malformed}\"")))).await;
                if let Some(answer) = answer.filter(|answer| answer.status != 422) {
                    tally.faults.push(format!("{} = {malformed}: {answer}", aimed.what));
                }
            }
            count += 1;
        }
    }
    count
}

async fn in_query(world: &World, operation: &Operation, tally: &mut Tally) -> usize {
    let parameters = operation.value["parameters"].as_array().into_iter().flatten();
    let ids = parameters.filter(|one| one["in"] == "query" && one["schema"]["format"] == "uuid");
    let path = objects::path(operation, Target::Own).expect("a path");
    let body = objects::body(operation, Target::Own).map(|body| body.to_string());
    let mut count = 0;
    for name in ids.filter_map(|one| one["name"].as_str()) {
        let id = foreign(name);
        let query = |value: &str| {
            let needed = objects::query(operation);
            format!("{needed}{}{name}={value}", if needed.is_empty() { '?' } else { '&' })
        };
        let aimed = Aimed { world, operation, path: path.clone(), what: format!("{} ?{name}", operation.id) };
        let away = aimed.ask(tally, &query(&id.to_string()), body.clone()).await;
        let missing = aimed.ask(tally, &query(&NOTHING.to_string()), body.clone()).await;
        // A filter by something that is not there leaves nothing.
        let empty =
            away.as_ref().is_some_and(|answer| answer.status != 200 || answer.at("/items") == Value::Array(vec![]));
        if !empty {
            tally.faults.push(format!("{}: a foreign id finds something", aimed.what));
        }
        aimed.compare(tally, away, missing, id, &[200, 404, 422]);
        for malformed in MALFORMED {
            let answer = aimed.ask(tally, &query(malformed), body.clone()).await;
            if let Some(answer) = answer.filter(|answer| !matches!(answer.status, 400 | 422)) {
                tally.faults.push(format!("{} = {malformed}: {answer}", aimed.what));
            }
        }
        count += 1;
    }
    count
}

#[test]
fn an_id_of_another_unit_is_answered_as_one_of_nothing_in_every_body_and_query() {
    scenario(async |world| {
        prepare(world).await;
        let mut owner = world.owner().await;
        let mut tally = Tally::default();
        let (mut bodies, mut queries) = (0, 0);
        let before = rows::digest(&mut owner).await;
        for operation in OPERATIONS.iter() {
            bodies += in_body(world, operation, &mut tally).await;
            queries += in_query(world, operation, &mut tally).await;
        }
        let after = rows::digest(&mut owner).await;
        let changed: Vec<&String> = before.keys().filter(|table| before.get(*table) != after.get(*table)).collect();
        if !changed.is_empty() {
            tally.faults.push(format!("rows were changed in {changed:?}"));
        }
        assert!(bodies >= 50 && queries >= 25, "{bodies} places in bodies, {queries} in queries");
        tally.conclude(&format!("{bodies} ids in bodies (each from two bases), {queries} in queries"));
    });
}
