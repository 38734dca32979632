//! Asks the server for every cell, once.

use std::collections::BTreeMap;

use reqwest::Method;
use sqlx::Row as _;
use sqlx::postgres::PgConnection;

use super::rules::Evidence;
use super::{Cell, Grants, Observed, Seen};
use crate::objects::{self, TARGETS, Target};
use crate::operations::{OPERATIONS, Operation};
pub use crate::prepared::prepare;
use crate::support::built::built;
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};
use crate::table::{Entry, Table, read};

/// Everybody who asks, by role.
fn callers(world: &World) -> [(&'static str, &Caller); 8] {
    [
        ("unit_manager", &world.manager),
        ("overseer", &world.overseer),
        ("materials_coordinator", &world.materials),
        ("distributor", &world.distributor),
        ("viewer", &world.viewer),
        ("troop_coordinator", &world.clara),
        ("administrator", &world.administrator),
        ("stranger", &world.stranger),
    ]
}

/// Every cell, and the grants.
pub fn everything() -> Evidence {
    everything_in(&async |world: &World| prepare(world).await)
}

/// The same in worlds that are made ready in another way.
pub fn everything_in(ready: &impl AsyncFn(&World)) -> Evidence {
    let mut cells = Observed::new();
    let mut grants = Grants::new();
    let table = read();
    let mut waiting: BTreeMap<String, Vec<Cell>> = BTreeMap::new();
    scenario(async |world| {
        let mut owner = world.owner().await;
        ready(world).await;
        grants = read_grants(&mut owner).await;
        for operation in OPERATIONS.iter() {
            let before = fingerprint(&mut owner).await;
            for (who, caller) in callers(world) {
                for target in TARGETS {
                    let cell = Cell { operation: operation.id.clone(), who, target };
                    if changes_something(&table, operation, &cell) {
                        waiting.entry(operation.id.clone()).or_default().push(cell);
                    } else if let Some(seen) = look(caller, operation, target).await {
                        cells.insert(cell, seen);
                    }
                }
            }
            let after = fingerprint(&mut owner).await;
            assert_eq!(before, after, "{}: what is refused or read changes no row", operation.id);
        }
    });
    // What is let through and changes something gets a world of its own per operation.
    for (id, of_operation) in waiting {
        let operation = OPERATIONS.iter().find(|operation| operation.id == id).expect("the operation");
        scenario(async |world| {
            ready(world).await;
            for cell in of_operation {
                let (_, caller) = callers(world).into_iter().find(|(who, _)| *who == cell.who).expect("the caller");
                if let Some(seen) = look(caller, operation, cell.target).await {
                    cells.insert(cell, seen);
                }
            }
        });
    }
    Evidence { cells, grants: Some(grants) }
}

/// By the table, whether this cell is let through and changes something. If the table is wrong about it, the fingerprint
/// above shows it. Edits carry a stale version, so they change nothing either way.
fn changes_something(table: &Table, operation: &Operation, cell: &Cell) -> bool {
    if matches!(operation.permission.as_str(), "public" | "signed_in") {
        return operation.changes();
    }
    let own = matches!(cell.target, Target::Own | Target::Other);
    let entry = crate::table::ROLES
        .iter()
        .position(|role| *role == cell.who)
        .map(|place| table.get(&cell.operation).map_or(Entry::No, |row| row.entries[place]));
    let may = match entry {
        Some(entry) => entry != Entry::No,
        None => operation.permission == "units.create" && cell.who == "administrator",
    };
    let at_home = cell.who == "stranger" && cell.target == Target::AwayUnit;
    operation.method == Method::POST && ((own && may) || at_home)
}

async fn look(caller: &Caller, operation: &Operation, target: Target) -> Option<Seen> {
    let path = objects::path(operation, target)?;
    let answer = ask(caller, operation, &path, target).await;
    let as_missing = answer.status == 404 && {
        let missing = if target.elsewhere() { Target::MissingUnit } else { Target::Missing };
        let missing = objects::path(operation, missing).unwrap_or_else(|| path.clone());
        bare(&answer) == bare(&ask(caller, operation, &missing, target).await)
    };
    let text = String::from_utf8_lossy(&answer.body).into_owned();
    let shows = |marks: &[String]| answer.status < 300 && marks.iter().any(|mark| text.contains(mark.as_str()));
    let at_home = caller.unit == Some(fixture::AWAY_UNIT);
    Some(Seen {
        status: answer.status,
        names_permission: answer.status == 403 && text.contains(&operation.permission),
        as_missing,
        shows_other: shows(&marks_of_the_other_troop()),
        shows_away: !at_home
            && shows(&[
                fixture::AWAY_TROOP.to_string(),
                fixture::AWAY_SEASON.to_string(),
                fixture::AWAY_UNIT.to_string(),
            ]),
    })
}

fn marks_of_the_other_troop() -> [String; 4] {
    [
        fixture::OTHER_TROOP.to_string(),
        fixture::YESENIAS_ASSIGNMENT.to_string(),
        fixture::YESENIA.place.expect("a place").person.to_string(),
        fixture::YESENIA.last_name.to_owned(),
    ]
}

async fn ask(caller: &Caller, operation: &Operation, path: &str, target: Target) -> Answered {
    let path = format!("{path}{}", objects::query(operation));
    let mut asked = caller.ask(operation.method.clone(), &path);
    if operation.asks_for_a_version() {
        asked = asked.header("if-match", "\"v999999\"");
    }
    let body_target = if matches!(target, Target::Other) { Target::Other } else { Target::Own };
    if operation.changes() && matches!(operation.permission.as_str(), "public" | "signed_in") {
        asked = asked.bytes("application/json", "{rubbish");
    } else if let Some(body) = objects::body(operation, body_target) {
        asked = asked.json(&body);
    } else if let Some(kind) = operation.body_types().first() {
        asked = asked.bytes(kind, "Troop number,First name\n0101,Clara\n");
    }
    asked.await
}

/// An answer without what differs between any two requests.
fn bare(answer: &Answered) -> (u16, Vec<(String, String)>, serde_json::Value) {
    let mut body = answer.json();
    for key in ["request_id", "instance"] {
        body[key] = serde_json::Value::Null;
    }
    let fleeting = ["x-request-id", "date", "ratelimit"];
    let headers = answer.headers.iter().filter(|(name, _)| !fleeting.contains(&name.as_str()));
    let mut headers: Vec<(String, String)> =
        headers.map(|(name, value)| (name.to_string(), value.to_str().unwrap_or_default().to_owned())).collect();
    headers.sort();
    (answer.status, headers, body)
}

async fn read_grants(owner: &mut PgConnection) -> Grants {
    let rows: Vec<(String, String, String)> =
        sqlx::query_as("select permission, role, scope from role_permission join role using (role)")
            .fetch_all(owner)
            .await
            .expect("the grants");
    let entry = |scope: &str| if scope == "unit" { Entry::Yes } else { Entry::Own };
    rows.into_iter().map(|(permission, role, scope)| ((permission, role), entry(&scope))).collect()
}

/// A digest of every row of every table but the count of refusals.
async fn fingerprint(owner: &mut PgConnection) -> BTreeMap<String, String> {
    let tables: Vec<String> = sqlx::query_scalar(
        "select relname::text from pg_class where relkind = 'r' and relnamespace = 'public'::regnamespace and relname <> 'denial'",
    )
    .fetch_all(&mut *owner)
    .await
    .expect("the tables");
    let each = tables.iter().map(|table| {
        format!("select '{table}' as name, md5(coalesce(string_agg(t::text, '|' order by t::text), '')) as digest from {table} t")
    });
    let all = each.collect::<Vec<_>>().join(" union all ");
    let rows = sqlx::query(built(all)).fetch_all(owner).await.expect("a digest of every table");
    rows.iter().map(|row| (row.get("name"), row.get("digest"))).collect()
}
