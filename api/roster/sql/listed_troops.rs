//! Every query by which a posted list describes troops, and by which what it made is undone.

use uuid::Uuid;

use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{SeasonId, TroopId};
use crate::error::{ApiError, Code};

/// Writes one thing about a troop, `first_season` as yes or no; where `still` is given, only while the troop is described
/// so. The version moves with whatever is written, since it is one for all of a troop's fields.
pub(in crate::roster) async fn describe(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    (season, troop): (SeasonId, TroopId),
    (field, to): (&str, Option<&str>),
    still: Option<&str>,
    log_seq: i64,
) -> Result<(), ApiError> {
    let unit = by.unit()?.0;
    let changed = sqlx::query!(
        "update troop_season
         set age_band = case when $4 = 'age_band' then $5 else age_band end,
             selling_youths = case when $4 = 'selling_youths' then $5::int else selling_youths end,
             first_season = case when $4 = 'first_season' then $5 = 'yes' else first_season end,
             log_seq = $7
         where unit_id = $1 and season_id = $2 and troop_id = $3 and $4 in ('age_band', 'selling_youths', 'first_season')
           and ($6::text is null or $6 = case $4 when 'age_band' then age_band when 'selling_youths' then selling_youths::text
                    else case when first_season then 'yes' else 'no' end end)",
        unit,
        season.0,
        troop.0,
        field,
        to,
        still,
        log_seq
    )
    .execute(tx.db())
    .await?
    .rows_affected();
    sqlx::query!(
        "update troop
         set name = case when $3 = 'name' then coalesce($4, '') else name end,
             meeting_place = case when $3 = 'meeting_place' then $4 else meeting_place end,
             version = version + 1, log_seq = $6
         where unit_id = $1 and troop_id = $2
           and ($7 or ($3 in ('name', 'meeting_place')
                       and ($5::text is null or $5 = case $3 when 'name' then name else meeting_place end)))",
        unit,
        troop.0,
        field,
        to,
        still,
        log_seq,
        changed > 0
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes these troops' places in a season away, on which nothing hangs.
pub(in crate::roster) async fn remove_places(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    troops: &[Uuid],
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from troop_season where unit_id = $1 and season_id = $2 and troop_id = any ($3)",
        by.unit()?.0,
        season.0,
        troops
    )
    .execute(tx.db())
    .await
    .map_err(hangs)?;
    Ok(())
}

/// What the program has not looked for may hang on a troop all the same: the database knows.
fn hangs(error: sqlx::Error) -> ApiError {
    if error.as_database_error().is_some_and(sqlx::error::DatabaseError::is_foreign_key_violation) {
        let detail = "Something else stands on a troop that this list made known or gave its place: that stays on record. Let the troop sit out instead (sit_out_troop).";
        return ApiError::new(Code::BuiltOn).detail(detail);
    }
    error.into()
}

/// Takes troops away that a list made known and that have no place in any season any more.
pub(in crate::roster) async fn remove(tx: &mut Tx, by: &Permit<IntakesApply>, troops: &[Uuid]) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from troop t where unit_id = $1 and troop_id = any ($2)
           and not exists (select from troop_season s where s.unit_id = $1 and s.troop_id = t.troop_id)",
        by.unit()?.0,
        troops
    )
    .execute(tx.db())
    .await
    .map_err(hangs)?;
    Ok(())
}
