//! What must hold after every test.

use std::collections::HashMap;
use std::time::Duration;

use caselot::auth::operations::Access;
use caselot::auth::{verify_server_log, verify_unit_log};
use caselot::common::ids::UnitId;
use caselot::server::document::OPERATIONS;
use reqwest::Method;
use sqlx::postgres::PgConnection;
use uuid::Uuid;

use super::client::Entry;
use super::derived;
use super::world::World;

/// Refusals that leave a row: a refresh token that comes twice ends the session, which is a change.
const LOGGED_REFUSALS: &[(&str, u16)] = &[("refresh_session", 401)];

/// Reads that leave a row of their own (R44). It may only grow with a reason.
const LOGGED_READS: &[&str] = &["list_evidence"];

/// Operations that are asked with a POST since a whole document comes with the question, and that change nothing. It may
/// only grow with a reason.
const READS_BY_POST: &[&str] = &["preview_policy", "preview_troop_merge", "preview_message"];

/// Changes that leave nothing where all that they say is so already. It may only grow with a reason.
const MAY_CHANGE_NOTHING: &[&str] = &["change_policy"];

/// What the server does and a unit begins with, or by which somebody comes into one: a row in each of the two logs. The
/// first administrator's invitation is of no unit.
const IN_BOTH_LOGS: &[&str] = &["create_unit", "accept_invitation", "join_unit"];

/// Checks all of it.
pub(super) async fn check(world: &World) {
    let mut owner = world.owner().await;
    let journal = world.line.journal.take();
    each_change_left_one_row(&mut owner, &journal).await;
    logs_hold(&mut owner).await;
    nothing_lies_open(&mut owner).await;
    derived::check(world, &mut owner).await;
}

/// Gate 7: exactly one row for each change that succeeded, naming operation and actor; none for anything else.
async fn each_change_left_one_row(owner: &mut PgConnection, journal: &[Entry]) {
    let rows: Vec<(String, String, String)> = sqlx::query_as(
        "select request_id, actor, action from unit_log union all select request_id, actor, action from server_log",
    )
    .fetch_all(owner)
    .await
    .expect("the logs");
    let mut by_request: HashMap<String, Vec<(String, String)>> = HashMap::new();
    for (request, actor, action) in rows {
        by_request.entry(request).or_default().push((actor, action));
    }
    for entry in journal {
        let left = by_request.get(&entry.request_id).map(Vec::as_slice).unwrap_or_default();
        let operation = entry.operation.as_deref().unwrap_or_default();
        let succeeded = (200..300).contains(&entry.status) && !entry.replayed;
        let reads = READS_BY_POST.contains(&operation);
        let changes = !reads && !matches!(entry.method, Method::GET | Method::HEAD | Method::OPTIONS);
        if succeeded && changes {
            let row = (actor(entry, operation), operation.to_owned());
            if left.is_empty() && MAY_CHANGE_NOTHING.contains(&operation) {
                continue;
            }
            if IN_BOTH_LOGS.contains(&operation) {
                let fewest = if operation == "accept_invitation" { 1 } else { 2 };
                let rows = (fewest..=2).contains(&left.len()) && left.iter().all(|one| *one == row);
                assert!(rows, "a row in each of the two logs: {entry:?} left {left:?}");
                continue;
            }
            assert_eq!(left, [row], "one row for one change: {entry:?}");
        } else if LOGGED_REFUSALS.contains(&(operation, entry.status)) || LOGGED_READS.contains(&operation) {
            assert!(left.len() <= 1, "{entry:?} left {left:?}");
        } else {
            assert!(left.is_empty(), "no change and yet a row: {entry:?} left {left:?}");
        }
    }
}

fn actor(entry: &Entry, operation: &str) -> String {
    match OPERATIONS.all().get(operation).map(|operation| &operation.access) {
        Some(Access::Public) => "public".to_owned(),
        _ => entry.actor.clone(),
    }
}

/// Every log's chain holds from its first row to its head.
async fn logs_hold(owner: &mut PgConnection) {
    let units: Vec<Uuid> =
        sqlx::query_scalar("select unit_id from unit_log_head").fetch_all(&mut *owner).await.expect("the units");
    for unit in units {
        let fault = verify_unit_log(owner, UnitId(unit)).await.expect("a log that can be read");
        assert_eq!(fault, None, "the log of unit {unit}");
    }
    assert_eq!(verify_server_log(owner).await.expect("a log that can be read"), None, "the server's log");
}

/// No connection of the program stays in a transaction when nobody asks any more.
async fn nothing_lies_open(owner: &mut PgConnection) {
    let mut open = 0_i64;
    for _ in 0..200 {
        open = sqlx::query_scalar(
            "select count(*) from pg_stat_activity
             where datname = current_database() and usename = 'caselot_runtime' and state like 'idle in transaction%'",
        )
        .fetch_one(&mut *owner)
        .await
        .expect("the list of connections");
        if open == 0 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("{open} connections lie idle in a transaction");
}
