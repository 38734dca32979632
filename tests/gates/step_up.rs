//! What weighs most asks once more who asks, when the last proof is more than ten minutes old (R05): every operation that the
//! document marks, and no other.

use std::collections::BTreeSet;

use caselot::common::clock;
use chrono::TimeDelta;
use uuid::Uuid;

use crate::matrix::observe::prepare;
use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation};
use crate::support::client::{Answered, Caller};
use crate::support::fixture::{ADMINISTRATOR, MANAGER};
use crate::support::scenario;
use crate::support::world::World;

/// What must be marked, typed by hand: roles (given, ended, moved), keys, who gets in, what cannot be taken back, who outside is told. It may only grow.
const MARKED: &[&str] = &[
    "create_unit",
    "make_key",
    "invite_person",
    "give_role",
    "end_grant",
    "erase_person",
    "merge_person",
    "record_leaving",
    "merge_troops",
    "preview_troop_merge",
    "split_troop",
    "make_webhook",
    "rotate_webhook_secret",
];

fn marked() -> Vec<&'static Operation> {
    OPERATIONS.iter().filter(|operation| operation.value["x-stepup"] == true).collect()
}

async fn proved(world: &World, seconds_ago: i64) {
    let at = clock::real_now() - TimeDelta::seconds(seconds_ago);
    let sessions: Vec<Uuid> = vec![MANAGER.session, ADMINISTRATOR.session];
    sqlx::query("update session set proved_at = $1 where session_id = any ($2)")
        .bind(at)
        .bind(sessions)
        .execute(&mut world.owner().await)
        .await
        .expect("an older proof");
}

/// The example, by whoever may.
async fn ask(world: &World, operation: &Operation) -> Answered {
    let who: &Caller = if operation.id == "create_unit" { &world.administrator } else { &world.manager };
    let path = objects::path(operation, Target::Own).expect("a path");
    let mut asked = who.ask(operation.method.clone(), &format!("{path}{}", objects::query(operation)));
    if operation.asks_for_a_version() {
        asked = asked.header("if-match", "\"v1\"");
    }
    if let Some(body) = objects::body(operation, Target::Own) {
        asked = asked.json(&body);
    }
    asked.await
}

#[test]
fn what_weighs_most_is_marked() {
    let found: BTreeSet<&str> = marked().iter().map(|operation| operation.id.as_str()).collect();
    assert_eq!(found, MARKED.iter().copied().collect());
}

#[test]
fn every_marked_operation_refuses_a_proof_of_601_seconds_and_takes_one_of_590() {
    scenario(async |world| {
        prepare(world).await;
        for operation in marked() {
            proved(world, 601).await;
            let refused = ask(world, operation).await.expect_problem(403, "step_up_needed");
            assert!(refused.text("/detail").contains("confirm_session"), "{refused}");
            proved(world, 590).await;
            let met = ask(world, operation).await;
            assert_ne!((met.status, met.at("/code")), (403, "step_up_needed".into()), "{met}");
            assert!(!matches!(met.status, 401 | 403 | 404 | 500..), "{}: {met}", operation.id);
        }
    });
}

/// And nothing else does: an old proof is no hindrance to the day's work.
#[test]
fn what_is_not_marked_does_not_ask() {
    scenario(async |world| {
        prepare(world).await;
        proved(world, 100_000).await;
        let unmarked =
            OPERATIONS.iter().filter(|operation| operation.value["x-stepup"] != true && !operation.is_public());
        for operation in unmarked.filter(|operation| operation.id != "sign_out" && operation.id != "end_all_sessions") {
            let met = ask(world, operation).await;
            assert!(met.status != 403 || met.at("/code") != "step_up_needed", "{}: {met}", operation.id);
        }
    });
}
