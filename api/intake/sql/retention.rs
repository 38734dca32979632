//! Every query by which files of lists go when their time is over.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;

/// The seasons with files that were uploaded before an instant and are still kept.
pub(in crate::intake) async fn seasons_with_files(
    tx: &mut Tx,
    unit: UnitId,
    before: DateTime<Utc>,
) -> Result<Vec<Uuid>, ApiError> {
    let seasons = sqlx::query_scalar!(
        "select distinct season_id from intake where unit_id = $1 and erased_at is null and uploaded_at < $2 order by season_id",
        unit.0,
        before
    );
    Ok(seasons.fetch_all(tx.db()).await?)
}

/// The lists of a season whose time is over, held in the order of their ids. A list that is being read is none of them.
pub(in crate::intake) async fn due(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    before: DateTime<Utc>,
) -> Result<Vec<Uuid>, ApiError> {
    let lists = sqlx::query_scalar!(
        "select intake_id from intake
         where unit_id = $1 and season_id = $2 and erased_at is null and uploaded_at < $3 and state <> 'reading'
         order by intake_id for no key update",
        unit.0,
        season.0,
        before
    );
    Ok(lists.fetch_all(tx.db()).await?)
}

/// Deletes what is kept of these files: the bytes, unless the same file was uploaded again and is still kept; what was read
/// of them; their previews. A list that was still under way is put away. What was counted stays, and so does every fact.
pub(in crate::intake) async fn delete(
    tx: &mut Tx,
    unit: UnitId,
    lists: &[Uuid],
    (now, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = any ($2)", unit.0, lists)
        .execute(tx.db())
        .await?;
    sqlx::query!(
        "update intake
         set parsed = null, columns = null, fault = null, absences = '[]', sheets = '[]', sheet = null, erased_at = $3,
             state = case when state in ('applied', 'reversed', 'discarded') then state else 'discarded' end,
             version = version + 1, log_seq = $4
         where unit_id = $1 and intake_id = any ($2)",
        unit.0,
        lists,
        now,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "delete from blob b where unit_id = $1
           and sha256 in (select file_sha256 from intake where unit_id = $1 and intake_id = any ($2))
           and not exists (select from intake i where i.unit_id = $1 and i.file_sha256 = b.sha256 and i.erased_at is null)",
        unit.0,
        lists
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
