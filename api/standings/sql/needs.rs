//! When the rows of the unit's log were written that last changed a standing.

use chrono::{DateTime, Utc};

use crate::auth::Tx;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// The instants of these log rows.
pub(in super::super) async fn logged_at(
    tx: &mut Tx,
    unit: UnitId,
    seqs: &[i64],
) -> Result<Vec<(i64, DateTime<Utc>)>, ApiError> {
    let rows = sqlx::query!("select seq, at from unit_log where unit_id = $1 and seq = any ($2)", unit.0, seqs);
    Ok(rows.fetch_all(tx.db()).await?.into_iter().map(|row| (row.seq, row.at)).collect())
}
