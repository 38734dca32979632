//! Files of lists are kept as long as the policy says, then they go with what was read of them. Facts stay.

use chrono::TimeDelta;

use super::sql::retention;
use super::work;
use crate::auth::System;
use crate::common::ids::{IntakeId, SeasonId, UnitId};
use crate::error::ApiError;
use crate::seasons;

/// The fewest days that a policy can say: younger files need not be looked at.
const AT_LEAST: TimeDelta = TimeDelta::days(30);

/// What is done with lists once a minute.
pub(super) async fn every_minute(system: System, unit: UnitId) -> Result<(), ApiError> {
    work::give_up_silent(&system, unit).await?;
    delete_old_files(&system, unit).await
}

/// Deletes the files of lists whose time is over, by the policy of the season that each speaks of.
async fn delete_old_files(system: &System, unit: UnitId) -> Result<(), ApiError> {
    let mut tx = system.open(Some(unit), "delete_list_files").await?;
    let now = tx.now();
    let mut due = Vec::new();
    for season in retention::seasons_with_files(&mut tx, unit, now - AT_LEAST).await? {
        let policy = seasons::policy_of(&mut tx, unit, SeasonId(season)).await?;
        let before = now - TimeDelta::days(i64::from(policy.intake.keep_list_files_days));
        due.extend(retention::due(&mut tx, unit, SeasonId(season), before).await?);
    }
    if due.is_empty() {
        return Ok(());
    }
    let log_seq = tx.seq().await?;
    retention::delete(&mut tx, unit, &due, (now, log_seq)).await?;
    for intake in due {
        tx.about("intake", IntakeId(intake));
    }
    tx.commit().await
}
