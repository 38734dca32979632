//! Every query by which a troop that was added by mistake is taken away.

use chrono::{DateTime, Utc};

use crate::auth::permission::TroopsChange;
use crate::auth::{Permit, Tx};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code};

/// What refers to a troop, in the words of an answer, whatever became of it.
pub(in crate::roster) async fn uses(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troop: TroopId,
) -> Result<Vec<String>, ApiError> {
    let used = sqlx::query_scalar!(
        r#"select used.what as "what!" from (
               select 1 as place, 'a coordinator, or has had or been proposed one' as what from assignment where unit_id = $1 and troop_id = $3
               union select 2, 'a contact, or has had one' from troop_contact where unit_id = $1 and troop_id = $3
               union select 3, 'a fact on record' from evidence where unit_id = $1 and troop_id = $3
               union select 4, 'a waiver, or has had or been asked for one' from waiver where unit_id = $1 and troop_id = $3
               union select 5, 'an override, or has had or been asked for one' from gate_override where unit_id = $1 and troop_id = $3
               union select 6, 'a decision on record' from decision where unit_id = $1 and troop_id = $3
               union select 7, 'a merge or a split on record' from regrouping
               where unit_id = $1 and (from_troop_id = $3 or to_troop_id = $3)
               union select 8, 'a place in another season' from troop_season
               where unit_id = $1 and season_id <> $2 and troop_id = $3
           ) used order by used.place"#,
        unit.0,
        season.0,
        troop.0
    );
    Ok(used.fetch_all(tx.db()).await?)
}

/// Since when the troop has its place in the season, if it has one.
pub(in crate::roster) async fn began_at(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troop: TroopId,
) -> Result<Option<DateTime<Utc>>, ApiError> {
    let began = sqlx::query_scalar!(
        "select began_at from troop_season where unit_id = $1 and season_id = $2 and troop_id = $3",
        unit.0,
        season.0,
        troop.0
    );
    Ok(began.fetch_optional(tx.db()).await?.flatten())
}

/// Takes a troop away, with its place in the season.
pub(in crate::roster) async fn delete(
    tx: &mut Tx,
    by: &Permit<TroopsChange>,
    season: SeasonId,
    troop: TroopId,
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from troop_season where unit_id = $1 and season_id = $2 and troop_id = $3",
        by.unit()?.0,
        season.0,
        troop.0
    )
    .execute(tx.db())
    .await
    .map_err(refers)?;
    sqlx::query!("delete from troop where unit_id = $1 and troop_id = $2", by.unit()?.0, troop.0)
        .execute(tx.db())
        .await
        .map_err(refers)?;
    Ok(())
}

/// What the program has not looked for may refer to the troop all the same: the database knows.
fn refers(error: sqlx::Error) -> ApiError {
    if error.as_database_error().is_some_and(sqlx::error::DatabaseError::is_foreign_key_violation) {
        return Code::StillUsed.into();
    }
    error.into()
}
