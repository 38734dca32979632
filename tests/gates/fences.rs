//! Two fences, each of which must hold without the other (reliability.md section 4, (a) and (b)): the program's own checks
//! with row security switched off, and row security with the program's checks switched off.
//!
//! Both are switched in the test's own database; the program under test is the one that is served.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use sqlx::Row as _;
use sqlx::postgres::PgConnection;

use crate::matrix::{observe, rules};
use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation};
use crate::prepared::prepare;
use crate::support::built::built;
use crate::support::client::{Answered, Caller};
use crate::support::cluster::Role;
use crate::support::fixture::{AWAY_COORDINATOR, AWAY_SEASON, AWAY_TROOP, AWAY_UNIT, STRANGER, Somebody, UNIT};
use crate::support::scenario;
use crate::support::world::World;
use crate::table;

async fn execute(owner: &mut PgConnection, sql: &str) {
    sqlx::raw_sql(built(sql)).execute(owner).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
}

async fn column(db: &mut PgConnection, sql: &str) -> Vec<String> {
    sqlx::query_scalar(built(sql)).fetch_all(db).await.unwrap_or_else(|error| panic!("{sql}: {error}"))
}

/// Takes the second fence away, as if the program's role could pass it, and proves that it is gone.
async fn without_row_security(world: &World) {
    let mut owner = world.owner().await;
    let fenced = "select relname::text from pg_class where relrowsecurity and relnamespace = 'public'::regnamespace";
    let tables = column(&mut owner, fenced).await;
    assert!(tables.len() >= 15, "{tables:?}");
    for table in &tables {
        execute(&mut owner, &format!("alter table {table} disable row level security")).await;
    }
    let mut runtime = world.copy.connect(Role::Runtime).await;
    let strangers: i64 = sqlx::query_scalar("select count(*) from person where unit_id = $1")
        .bind(AWAY_UNIT)
        .fetch_one(&mut runtime)
        .await
        .expect("a count");
    assert!(strangers > 0, "the fence still stands");
}

/// (b): the program alone holds the whole table, cell by cell.
#[test]
fn without_row_security_the_program_alone_holds_every_cell_of_the_table() {
    let seen = observe::everything_in(&async |world: &World| {
        prepare(world).await;
        without_row_security(world).await;
    });
    let faults = rules::faults(&table::read(), &seen);
    assert!(faults.is_empty(), "{} cells differ without row security:\n{}", faults.len(), faults.join("\n"));
    println!("{} cells agree without row security", seen.cells.len());
}

/// Lets everybody of Juniper Ridge do everything, in whichever unit a path names, while row security stays where they are at
/// home: the program's checks say yes to all, and its queries filter by the unit of the path.
async fn allow_all(world: &World) {
    let sql = format!(
        "alter function enter(uuid, bytea, uuid, timestamptz, timestamptz) rename to enter_itself;
         create function enter(a uuid, b bytea, c uuid, d timestamptz, e timestamptz) returns text language plpgsql as $$
         declare v jsonb := enter_itself(a, b, '{UNIT}', d, e)::jsonb;
         begin
             return (v || jsonb_build_object('administrator', true, 'own_troops', '[]'::jsonb, 'troops', '[]'::jsonb,
                 'unit_wide', (select jsonb_agg(permission) from permission)))::text;
         end $$;
         grant execute on function enter(uuid, bytea, uuid, timestamptz, timestamptz) to caselot_runtime"
    );
    execute(&mut world.owner().await, &sql).await;
}

/// A digest of every row that is the other unit's, of every table that has a unit.
async fn foreign_rows(owner: &mut PgConnection) -> BTreeMap<String, String> {
    let tables = column(
        owner,
        "select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'unit_id' and not a.attisdropped
         where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace",
    )
    .await;
    let each = tables.iter().map(|table| {
        format!("select '{table}' as name, count(*) || ' ' || md5(coalesce(string_agg(t::text, '|' order by t::text), '')) as digest
                 from {table} t where unit_id = '{AWAY_UNIT}'")
    });
    let all = each.collect::<Vec<_>>().join(" union all ");
    let rows = sqlx::query(built(all)).fetch_all(owner).await.expect("a digest of every table");
    rows.iter().map(|row| (row.get("name"), row.get("digest"))).collect()
}

/// What tells about people and things of the other unit: words that no request of this test holds.
fn marks() -> Vec<String> {
    let person = |who: &Somebody| {
        [who.first_name, who.last_name, who.email, who.phone, who.membership_number].map(|text| format!("\"{text}"))
    };
    let mut marks: Vec<String> = [&STRANGER, &AWAY_COORDINATOR].into_iter().flat_map(person).collect();
    marks.push("Heron Slough".to_owned());
    marks
}

/// The unit's name stands in a table of the server's, which has no row security: by allow-all these can say it, and nothing
/// else of the other unit. The list may only shrink.
const SAY_THE_NAME: &[&str] = &["find_unit"];

fn tells(operation: &Operation, path: &str, body: &str, answer: &Answered) -> Vec<String> {
    let text = String::from_utf8_lossy(&answer.body).into_owned();
    let mut found: Vec<String> = marks().into_iter().filter(|mark| text.contains(mark.as_str())).collect();
    // Ids are asked for, so that only one that was not sent tells something.
    for id in [AWAY_TROOP, AWAY_SEASON].map(|id| id.to_string()) {
        if answer.status < 300 && text.contains(&id) && !path.contains(&id) && !body.contains(&id) {
            found.push(id);
        }
    }
    if SAY_THE_NAME.contains(&operation.id.as_str()) {
        found.retain(|mark| mark != "Heron Slough");
    }
    found
}

/// The bodies that are sent: with own ids, with those of the other unit, and the example as it stands.
fn bodies(operation: &Operation) -> Vec<Option<Value>> {
    let Some(example) = operation.json_example() else { return vec![None] };
    let own = objects::body(operation, Target::Own);
    let away = objects::body(operation, Target::Away);
    let season = example.get("from_season_id").map(|_| json!({"from_season_id": AWAY_SEASON}));
    let mut all: Vec<Option<Value>> = Vec::new();
    for body in [Some(example), own, away, season].into_iter().flatten().map(Some) {
        if !all.contains(&body) {
            all.push(body);
        }
    }
    all
}

async fn ask(caller: &Caller, operation: &Operation, path: &str, body: Option<&Value>) -> Answered {
    let mut asked = caller.ask(operation.method.clone(), path);
    if operation.asks_for_a_version() {
        asked = asked.header("if-match", "\"v1\"");
    }
    match (body, operation.body_types().first()) {
        (Some(body), _) => asked.json(body).await,
        (None, Some(kind)) => asked.bytes(kind, "Troop,Received on\n0101,2040-01-05\n").await,
        (None, None) => asked.await,
    }
}

/// Asks for everything of the other unit, as somebody whom the program lets do everything.
async fn attack(caller: &Caller, targets: &[Target]) -> (usize, Vec<String>) {
    let (mut tried, mut faults) = (0, Vec::new());
    for operation in OPERATIONS.iter().filter(|operation| operation.in_unit()) {
        for target in targets {
            let Some(path) = objects::path(operation, *target) else { continue };
            let path = format!("{path}{}", objects::query(operation));
            for body in bodies(operation) {
                let answer = ask(caller, operation, &path, body.as_ref()).await;
                tried += 1;
                let sent = body.as_ref().map(Value::to_string).unwrap_or_default();
                let told = tells(operation, &path, &sent, &answer);
                if !told.is_empty() {
                    faults.push(format!("{} on {target:?} tells {told:?}: {answer}", operation.id));
                }
                // What succeeds over there has found an empty unit.
                let items = if answer.status < 300 && answer.header("content-type").contains("json") {
                    answer.at("/items")
                } else {
                    Value::Null
                };
                if *target == Target::AwayUnit
                    && items.as_array().is_some_and(|items| !items.is_empty())
                    && !NOT_ROWS.contains(&operation.id.as_str())
                {
                    faults.push(format!("{} lists what is of another unit: {answer}", operation.id));
                }
            }
        }
    }
    (tried, faults)
}

/// Lists whose items are the program's own words and no rows of a unit.
const NOT_ROWS: &[&str] = &["list_list_kinds", "list_mail_templates"];

/// (a): where the program lets everybody do everything, row security alone lets no row of another unit be read or changed.
#[test]
fn with_every_check_of_the_program_saying_yes_row_security_alone_keeps_another_unit_whole() {
    scenario(async |world| {
        prepare(world).await;
        allow_all(world).await;
        let mut owner = world.owner().await;
        // The program's checks are really gone: a viewer does what only a manager may, and reads where only the manager may.
        let made =
            world.viewer.post("/people", json!({"first_name": "Planted", "another_person": true})).await.expect(201);
        assert_eq!(made.at("/first_name"), "Planted");
        world.viewer.get("/log").await.expect(200);
        let before = foreign_rows(&mut owner).await;
        assert!(before.len() >= 20, "{:?}", before.keys());
        let (tried, faults) = attack(&world.viewer, &[Target::AwayUnit, Target::Away]).await;
        let after = foreign_rows(&mut owner).await;
        let changed: Vec<&String> = before.keys().filter(|table| before[*table] != after[*table]).collect();
        println!(
            "{tried} requests across units with every check saying yes: {} told something, {changed:?} changed",
            faults.len()
        );
        assert!(faults.is_empty(), "{} answers tell about another unit:\n{}", faults.len(), faults.join("\n"));
        assert_eq!(changed, Vec::<&String>::new(), "rows of another unit were changed");
        assert!(tried >= 180, "{tried}");
        // It was row security that held: without it too, the other unit lies open.
        without_row_security(world).await;
        let open = world.viewer.get(&format!("/v1/units/{AWAY_UNIT}/people")).await.expect(200);
        assert!(String::from_utf8_lossy(&open.body).contains(STRANGER.last_name), "{open}");
    });
}
