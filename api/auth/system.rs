//! The program itself, which asks nobody for leave.

use uuid::Uuid;

use super::db::Db;
use super::idempotency::SafeRetry;
use super::tx::{Cause, Tx};
use crate::common::clock;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// The program itself: the ticker, jobs and the command line.
#[derive(Clone, Debug)]
pub struct System {
    db: Db,
}

impl System {
    /// Over this pool.
    #[must_use]
    pub fn new(db: Db) -> Self {
        Self { db }
    }

    /// Opens a transaction in a unit, or over the server's tables only.
    ///
    /// # Errors
    /// Database faults.
    pub async fn open(&self, unit: Option<UnitId>, action: &str) -> Result<Tx, ApiError> {
        let context = unit.map_or_else(String::new, |unit| unit.to_string());
        let message = format!(
            "BEGIN; SELECT coalesce((select offset_seconds from cluster_clock), 0)::text \
             from set_config('caselot.unit', '{context}', true)"
        );
        let (connection, offset) = self.db.open(&message).await?;
        let real_now = clock::real_now();
        let offset = offset.and_then(|text| text.parse().ok()).unwrap_or(0);
        let cause = Cause {
            actor: "system".to_owned(),
            action: action.to_owned(),
            request_id: Uuid::now_v7().to_string(),
            now: clock::season_now(real_now, offset),
            real_now,
        };
        Ok(Tx::new(connection, unit, cause, None))
    }

    /// Opens another transaction over the server's tables for the same cause.
    pub(super) async fn go_on(&self, cause: Cause, retry: Option<SafeRetry>) -> Result<Tx, ApiError> {
        let (connection, _) = self.db.open("BEGIN").await?;
        Ok(Tx::new(connection, None, cause, retry))
    }
}
