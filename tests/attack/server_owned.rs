//! R14: nobody writes what the server itself writes. Each name that belongs to it, and one that nothing has, is put into
//! every object of every body: each is refused, and no row of any table is another one after it.

use serde_json::{Value, json};
use sqlx::postgres::PgConnection;

use crate::aim::{Tally, chosen, dressed, insider};
use crate::objects::{self, Target};
use crate::operations::OPERATIONS;
use crate::places::{Kind, places};
use crate::prepared::prepare;
use crate::rows;
use crate::support::scenario;

const IDS: &str = "id unit_id account_id session_id person_id troop_id season_id assignment_id grant_id evidence_id decision_id \
    waiver_id override_id milestone_id intake_id return_id key_id regrouping_id sending_id";

const INSTANTS: &str = "created_at updated_at recorded_at decided_at asked_at granted_at confirmed_at ended_at closed_at filed_at \
    applied_at uploaded_at made_at withdrawn_at accepted_at voided_at revoked_at disabled_at tokens_since last_used_at noted_at \
    stands_at from_at expires_at";

const WORDS: &str = "recorded_by decided_by asked_by granted_by approved_by created_by changed_by uploaded_by made_by actor source \
    state etag stamp sha256 password_phc email_key number_key role secret token_sha256 ended_because";

const NUMBERS: &str = "version log_seq seq rules_version attempts offset_seconds";

const SWITCHES: &str = "administrator needs_two is_current confirmed approved granted lead";

/// Names under which the program keeps what nobody may send, and values that would be welcome to whoever sends them.
fn names() -> Vec<(&'static str, Value)> {
    let kinds = [
        (IDS, json!("0198c0de-0000-7000-8000-000000000101")),
        (INSTANTS, json!("2039-01-01T00:00:00Z")),
        (WORDS, json!("system")),
        (NUMBERS, json!(1)),
        (SWITCHES, json!(true)),
    ];
    let mut names: Vec<(&'static str, Value)> = kinds
        .iter()
        .flat_map(|(names, value)| names.split_whitespace().map(move |name| (name, value.clone())))
        .collect();
    names.extend([
        ("permissions", json!(["policy.change"])),
        ("roles", json!(["unit_manager"])),
        ("scopes", json!(["unit"])),
        ("__proto__", json!({"administrator": true})),
        ("constructor", json!({})),
        ("$set", json!({"administrator": true})),
        ("nobody_knows_this", json!("x")),
        ("Reason", json!("x")),
        ("", json!("x")),
    ]);
    names
}

#[test]
fn no_body_takes_what_belongs_to_the_server_in_any_of_its_objects() {
    scenario(async |world| {
        prepare(world).await;
        let mut owner = world.owner().await;
        let typed = names();
        let more = columns(&mut owner).await;
        let new = more.into_iter().filter(|(name, _)| !typed.iter().any(|(typed, _)| typed == name));
        let names: Vec<(String, Value)> =
            typed.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).chain(new).collect();
        let mut tally = Tally::default();
        let (mut operations, mut objects_tried) = (0, 0);
        for operation in OPERATIONS.iter() {
            let Some(base) = objects::body(operation, Target::Own) else { continue };
            let path = objects::path(operation, Target::Own).expect("a path");
            let path = format!("{path}{}", objects::query(operation));
            let before = rows::digest(&mut owner).await;
            operations += 1;
            for object in places(operation, &base).into_iter().filter(|place| place.kind == Kind::Object) {
                objects_tried += 1;
                let foreign = names.iter().enumerate().filter(|(_, (name, _))| !object.names.contains(name));
                for (entry, (name, value)) in foreign {
                    // What was typed goes into every body; into what stands inside it, and what the database has beside, a
                    // part of it in the short form.
                    let always = entry < typed.len() && object.pointer.is_empty();
                    if !always && !chosen(objects_tried, entry) {
                        continue;
                    }
                    let mut body = object.body.clone();
                    let here = body.pointer_mut(&object.pointer).and_then(Value::as_object_mut).expect("an object");
                    here.insert(name.clone(), value.clone());
                    let what = format!("{} {} with {name:?}", operation.id, object.pointer);
                    // With the right version: nothing but the name is in the way.
                    let asked = dressed(insider(world, operation), operation, &path, "\"v1\"").json(&body);
                    let Some(answer) = tally.send(&what, asked).await else { continue };
                    let refused = answer.status == 422 && answer.text("/code") == "invalid";
                    let pointed = answer.at("/errors").to_string().contains(name);
                    if answer.status != 503 && !(refused && pointed) {
                        tally.faults.push(format!("{what}: {answer}"));
                    }
                }
            }
            let after = rows::digest(&mut owner).await;
            if before != after {
                let changed =
                    before.iter().filter(|(table, digest)| after.get(*table) != Some(digest)).map(|(table, _)| table);
                tally.faults.push(format!("{} changed {:?}", operation.id, changed.collect::<Vec<_>>()));
            }
        }
        assert!(
            operations >= 50 && typed.len() >= 60 && names.len() >= 150,
            "{operations} operations, {} names",
            names.len()
        );
        tally.conclude(&format!(
            "{operations} operations, {objects_tried} objects, {} names typed and {} in all",
            typed.len(),
            names.len()
        ));
    });
}

/// Every name under which the database keeps something, that of a new column too.
async fn columns(owner: &mut PgConnection) -> Vec<(String, Value)> {
    let names: Vec<String> = sqlx::query_scalar(
        "select distinct attname::text from pg_attribute a join pg_class c on c.oid = a.attrelid
         where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace and a.attnum > 0 and not a.attisdropped order by 1",
    )
    .fetch_all(owner)
    .await
    .expect("the columns");
    assert!(names.len() > 100, "{names:?}");
    names.into_iter().map(|name| (name, json!("system"))).collect()
}
