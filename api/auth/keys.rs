//! When a key was last used, to the minute: a short write of its own, so that reading with a key stays reading.

use chrono::TimeDelta;

use super::system::System;
use crate::common::ids::KeyId;
use crate::error::ApiError;

/// Notes that a key was used, at most once a minute.
///
/// # Errors
/// Database faults.
pub(super) async fn note_use(system: &System, key: KeyId) -> Result<(), ApiError> {
    let mut tx = system.open(None, "note_key_use").await?;
    let now = tx.real_now();
    let noted = sqlx::query!(
        "update access_key set last_used_at = $2 where key_id = $1 and (last_used_at is null or last_used_at < $3)",
        key.0,
        now,
        now - TimeDelta::minutes(1)
    )
    .execute(tx.db())
    .await?;
    if noted.rows_affected() == 0 {
        return Ok(());
    }
    tx.commit_unlogged().await
}
