//! Gate 8: what is cached equals what is recomputed from the facts.

use caselot::auth::{Db, System};
use caselot::change::{self, Touched};
use caselot::common::ids::{SeasonId, UnitId};
use chrono::{DateTime, Utc};
use serde_json::Value;
use sqlx::postgres::PgConnection;
use uuid::Uuid;

use super::cluster::Role;
use super::world::World;

type Row = (Uuid, Uuid, Uuid, Value, Option<DateTime<Utc>>);

async fn rows(owner: &mut PgConnection) -> Vec<Row> {
    sqlx::query_as(
        "select unit_id, season_id, troop_id, answer, changes_at from standing order by unit_id, season_id, troop_id",
    )
    .fetch_all(owner)
    .await
    .expect("the cached standings")
}

/// Deletes every cached standing, computes all of them anew, and holds the two against each other. Only an answer whose
/// time had come (`changes_at`) may be another one.
pub(super) async fn check(world: &World, owner: &mut PgConnection) {
    let before = rows(owner).await;
    sqlx::query("delete from standing").execute(&mut *owner).await.expect("an empty cache");
    let seasons: Vec<(Uuid, Uuid)> =
        sqlx::query_as("select unit_id, season_id from season").fetch_all(&mut *owner).await.expect("the seasons");
    let db = Db::new(world.copy.options(Role::Runtime), 1);
    let mut now = None;
    for (unit, season) in seasons {
        let (unit, touched) = (UnitId(unit), Touched::season(SeasonId(season)));
        let mut tx = System::new(db.clone()).open(Some(unit), "recompute").await.expect("a transaction");
        now = Some(tx.now());
        change::hold(&mut tx, unit, &touched).await.expect("locks");
        change::refresh(&mut tx, unit, &touched).await.expect("standings");
        tx.commit_unlogged().await.expect("a commit");
    }
    db.close().await;
    let after = rows(owner).await;
    for (unit, season, troop, answer, changes_at) in before {
        if changes_at.is_some_and(|change| now.is_none_or(|now| change <= now)) {
            continue;
        }
        let again = after.iter().find(|row| (row.0, row.1, row.2) == (unit, season, troop));
        let (_, _, _, fresh, _) = again.unwrap_or_else(|| panic!("troop {troop} has a standing and no season"));
        assert_eq!(&answer, fresh, "the cached standing of troop {troop} is not the one that its facts make");
    }
}
