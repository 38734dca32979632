//! Gate 5: who lacks a permission is refused before anything of the request is looked at, and the refusal names the
//! permission, which is the one in the document.

use caselot::auth::permission::KEY_MAY_CHANGE;
use sqlx::postgres::PgConnection;

use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation};
use crate::support::client::{Asked, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};

/// The request with rubbish in every place, but for the unit where one is given.
fn rubbish(who: &Caller, operation: &Operation, unit: &str) -> Asked {
    let mut path = operation.pattern.clone();
    for name in operation.path_parameters() {
        let value = if name == "unit_id" { unit } else { "rubbish" };
        path = path.replace(&format!("{{{name}}}"), value);
    }
    // A stream would go on: it is asked with something to refuse.
    let streams = operation.value["responses"]["200"]["content"]["text/event-stream"].is_object();
    let query = if streams { "?wait_seconds=rubbish" } else { "" };
    let asked = who.ask(operation.method.clone(), &format!("{path}{query}"));
    if operation.changes() { asked.bytes("application/json", "{rubbish") } else { asked }
}

#[test]
fn nobody_gets_401_for_rubbish_everywhere() {
    scenario(async |world| {
        let stale = world.manager.with_token("rubbish");
        for operation in OPERATIONS.iter().filter(|operation| !operation.is_public()) {
            for who in [&world.nobody, &stale] {
                for unit in ["rubbish", &fixture::UNIT.to_string()] {
                    let answer = rubbish(who, operation, unit).await.expect_problem(401, "not_signed_in");
                    assert!(answer.header("www-authenticate").starts_with("Bearer"), "{answer}");
                }
            }
        }
    });
}

/// Gives the role of the viewer these permissions, and no other.
async fn hold(owner: &mut PgConnection, permissions: &[&str]) {
    let permissions: Vec<String> = permissions.iter().map(|name| (*name).to_owned()).collect();
    sqlx::query("delete from role_permission where role = 'viewer'").execute(&mut *owner).await.expect("an empty role");
    sqlx::query("insert into role_permission (role, permission) select 'viewer', unnest($1::text[])")
        .bind(permissions)
        .execute(owner)
        .await
        .expect("the role's permissions");
}

#[test]
fn all_permissions_but_the_documented_one_get_403_naming_it_and_that_one_alone_gets_past() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        let unit = fixture::UNIT.to_string();
        for operation in OPERATIONS.iter() {
            let needed = operation.permission.as_str();
            if matches!(needed, "public" | "signed_in") {
                continue;
            }
            let others: Vec<&str> =
                caselot::auth::permission::ALL.iter().copied().filter(|name| *name != needed).collect();
            hold(&mut owner, &others).await;
            let refused = rubbish(&world.viewer, operation, &unit).await.expect_problem(403, "forbidden");
            assert!(refused.text("/detail").contains(needed), "{} does not name {needed}: {refused}", operation.id);
            if caselot::auth::permission::is_server(needed) {
                continue;
            }
            hold(&mut owner, &[needed]).await;
            let met = rubbish(&world.viewer, operation, &unit).await;
            assert!(!matches!(met.status, 401 | 403 | 500..), "{} asks for more than {needed}: {met}", operation.id);
        }
    });
}

/// A key of the manager's with these permissions.
async fn key_with(world: &World, permissions: &[&str]) -> Caller {
    let new =
        serde_json::json!({"name": "a script", "unit_id": fixture::UNIT, "permissions": permissions, "lasts_days": 1});
    let made = world.manager.post("/v1/keys", new).await.expect(201);
    world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"))
}

/// R11: a key for scripts changes nothing that it was not given by name, whatever its owner may; and with everything that a key
/// can be given, nothing of what a person answers for.
#[test]
fn a_key_changes_nothing_that_it_was_not_given() {
    scenario(async |world| {
        let all = caselot::auth::permission::ALL.iter().copied();
        let reading: Vec<&str> = all.filter(|name| !caselot::auth::permission::writes(name)).collect();
        let reader = key_with(world, &reading).await;
        let writer = key_with(world, &[&*reading, KEY_MAY_CHANGE].concat()).await;
        reader.get("/standings").await.expect(200);
        for operation in OPERATIONS.iter().filter(|operation| operation.changes() && !operation.is_public()) {
            // What asks for a fresh proof is a person's, whatever the key was given.
            let by_name =
                KEY_MAY_CHANGE.contains(&operation.permission.as_str()) && operation.value["x-stepup"] != true;
            let path = objects::path(operation, Target::Own).expect("a path");
            let refusals: &[(&Caller, &str)] =
                if by_name { &[(&reader, "forbidden")] } else { &[(&reader, "key_may_not"), (&writer, "key_may_not")] };
            for (script, code) in refusals {
                let asked = script.ask(operation.method.clone(), &format!("{path}{}", objects::query(operation)));
                let asked = match objects::body(operation, Target::Own) {
                    Some(body) => asked.json(&body),
                    None => asked.bytes("application/json", "{}"),
                };
                asked.await.expect_problem(403, code);
            }
        }
    });
}
