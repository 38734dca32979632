//! Refusals are counted in the unit's own table, in a short write apart from the refused request, folded per principal,
//! operation and minute, so that a flood of them cannot grow the log.

use chrono::{DateTime, DurationRound as _, TimeDelta, Utc};

use super::actor::Actor;
use super::system::System;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// Counts one refusal.
///
/// # Errors
/// Database faults.
pub(super) async fn count(system: &System, unit: UnitId, actor: &Actor, operation: &str) -> Result<(), ApiError> {
    let minute: DateTime<Utc> = actor.now.duration_trunc(TimeDelta::minutes(1)).unwrap_or(actor.now);
    let mut tx = system.open(Some(unit), "count_refusal").await?;
    sqlx::query!(
        "insert into denial (unit_id, actor, operation, minute_at, times) values ($1, $2, $3, $4, 1)
         on conflict (unit_id, actor, operation, minute_at) do update set times = denial.times + 1",
        unit.0,
        actor.log_name(),
        operation,
        minute
    )
    .execute(tx.db())
    .await?;
    tx.commit_unlogged().await
}
