//! Asks the server for every cell, once.

use std::collections::BTreeMap;

use reqwest::Method;
use sqlx::Row as _;
use sqlx::postgres::PgConnection;

use super::rules::Evidence;
use super::{Cell, Grants, Observed, Seen};
use crate::objects::{self, TARGETS, Target};
use crate::operations::{OPERATIONS, Operation};
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
    let mut cells = Observed::new();
    let mut grants = Grants::new();
    let table = read();
    let mut waiting: BTreeMap<String, Vec<Cell>> = BTreeMap::new();
    scenario(async |world| {
        let mut owner = world.owner().await;
        prepare(world).await;
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
            prepare(world).await;
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

/// Things that stand in paths and that the fixture does not have.
const PREPARED: &[&str] = &[
    "insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, log_seq)
     select unit_id, troop_id, person_id, 'treasurer', from_at, 0 from assignment",
    "insert into blob (unit_id, sha256, content, kept_at) select unit_id, decode(repeat('5a', 32), 'hex'), 'x', 'epoch' from unit",
    "insert into intake (unit_id, intake_id, season_id, kind, file_name, file_sha256, listed_on, state, reading_since, choices, counts,
                         uploaded_at, uploaded_by, applied_at, applied_by, version, log_seq)
     select unit_id, overlay(unit_id::text placing '6' from 34)::uuid, season_id, 'role_list', 'x.csv', decode(repeat('5a', 32), 'hex'),
            '2039-10-01', 'applied', 'epoch', '{\"letters\": {}, \"date_orders\": {}}',
            '{\"rows\": 1, \"waiting\": 0, \"left_out\": 0, \"changing_rows\": 0, \"changes\": 0, \"new_people\": 0, \"filled_in\": 0,
              \"proposals\": 0, \"facts\": 0, \"problems\": 0}', '2039-10-01', 'system', '2039-10-01', 'system', 1, 0 from season",
    "insert into intake_row (unit_id, intake_id, row_number, needs_a_person, preview)
     select unit_id, intake_id, 1, false, '{\"row_number\": 1, \"name\": \"\", \"troop_number\": null, \"state\": \"person\",
            \"needs_a_person\": false, \"person_id\": null, \"troop_id\": null, \"candidates\": [], \"reason_code\": null,
            \"reason\": null, \"also_on_rows\": [], \"changes\": [], \"problems\": []}' from intake",
    "insert into evidence (unit_id, evidence_id, season_id, requirement, troop_id, outcome, observed_on, source, recorded_at, recorded_by, log_seq)
     select distinct on (unit_id) unit_id, overlay(unit_id::text placing 'a' from 34)::uuid, season_id, 'bank_details', troop_id,
            'not_met', '2039-10-01'::date, 'manager', '2039-10-01'::timestamptz, 'system', 0 from troop_season order by unit_id, troop_id",
    "insert into waiver (unit_id, waiver_id, season_id, requirement, troop_id, reason, until_on, needs_two, asked_at, asked_by, log_seq)
     select distinct on (unit_id) unit_id, overlay(unit_id::text placing '8' from 34)::uuid, season_id, 'bank_details', troop_id, 'x',
            '2040-05-01'::date, true, '2039-10-01'::timestamptz, 'system', 0 from troop_season order by unit_id, troop_id",
    "insert into gate_override (unit_id, override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, log_seq)
     select unit_id, overlay(unit_id::text placing '9' from 34)::uuid, season_id, troop_id, 'earn', reason, until_on, true, asked_at,
            asked_by, 0 from waiver",
    "insert into frozen_document (unit_id, document_id, kind, number, season_id, figures, sha256, stands_at, made_at, made_by, log_seq)
     select unit_id, overlay(unit_id::text placing '7' from 34)::uuid, 'season_return', 1, season_id, figures,
            sha256(convert_to(figures, 'UTF8')), '2039-10-01', '2039-10-01', 'system', 0
     from season, (values ('{\"note\":\"x\",\"season\":{\"label\":\"2040\",\"season_id\":\"0198c0de-0000-7000-8000-000000000011\"},\"stands_at\":\"2039-10-01T00:00:00Z\",\"totals\":{\"appointed\":0,\"no_coordinator\":0,\"open_requirements\":0,\"sitting_out\":0,\"troops\":0,\"under_way\":0},\"troops\":[]}')) as frozen (figures)",
];

pub async fn prepare(world: &World) {
    let mut owner = world.owner().await;
    for statement in PREPARED {
        sqlx::query(*statement).execute(&mut owner).await.unwrap_or_else(|error| panic!("{statement}: {error}"));
    }
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
