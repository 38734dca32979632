//! Why waivers and overrides were given: kept out of the cache, and read for whoever may see it.

use chrono::NaiveDate;
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// A reason with its exception.
pub(in super::super) struct ReasonRow {
    pub id: Uuid,
    pub reason: String,
    pub until_on: NaiveDate,
}

pub(in super::super) async fn waiver_reasons(
    tx: &mut Tx,
    unit: UnitId,
    ids: &[Uuid],
) -> Result<Vec<ReasonRow>, ApiError> {
    let rows = sqlx::query_as!(
        ReasonRow,
        "select waiver_id as id, reason, until_on from waiver where unit_id = $1 and waiver_id = any ($2) order by waiver_id",
        unit.0,
        ids
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) async fn override_reasons(
    tx: &mut Tx,
    unit: UnitId,
    ids: &[Uuid],
) -> Result<Vec<ReasonRow>, ApiError> {
    let rows = sqlx::query_as!(
        ReasonRow,
        "select override_id as id, reason, until_on from gate_override where unit_id = $1 and override_id = any ($2) order by override_id",
        unit.0,
        ids
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
