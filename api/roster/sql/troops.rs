//! Every query of troops and their seasons.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::Permission;
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};

/// A troop with its place in one season, if it has one there.
#[derive(Clone, Debug)]
pub(in crate::roster) struct TroopRow {
    pub troop_id: Uuid,
    pub number: String,
    pub name: String,
    pub kind: String,
    pub meeting_place: Option<String>,
    pub version: i64,
    pub age_band: Option<String>,
    pub selling_youths: Option<i32>,
    pub first_season: Option<bool>,
    /// When it went into another troop of that season, and into which.
    pub ended_at: Option<DateTime<Utc>>,
    pub merged_into: Option<Uuid>,
    /// The troop of which it was a part until it became one of its own in that season.
    pub split_from: Option<Uuid>,
}

pub(in crate::roster) async fn find(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    season: SeasonId,
    troop: TroopId,
) -> Result<Option<TroopRow>, ApiError> {
    let within = scope.troops();
    let row = sqlx::query_as!(
        TroopRow,
        r#"select t.troop_id, t.number, t.name, t.kind, t.meeting_place, t.version, ts.age_band as "age_band?",
               ts.selling_youths as "selling_youths?", ts.first_season as "first_season?", ts.ended_at,
               m.to_troop_id as "merged_into?", s.from_troop_id as "split_from?"
           from troop t
           left join troop_season ts on ts.unit_id = t.unit_id and ts.troop_id = t.troop_id and ts.season_id = $3
           left join regrouping m on m.unit_id = t.unit_id and m.season_id = $3 and m.from_troop_id = t.troop_id and m.kind = 'merge'
           left join regrouping s on s.unit_id = t.unit_id and s.season_id = $3 and s.to_troop_id = t.troop_id and s.kind = 'split'
           where t.unit_id = $1 and ($2::uuid[] is null or t.troop_id = any ($2)) and t.troop_id = $4"#,
        unit.0,
        within.as_deref(),
        season.0,
        troop.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Locks a troop in reach. What it says is to be read in the next statement.
pub(in crate::roster) async fn lock<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    troop: TroopId,
) -> Result<(), ApiError> {
    let found = sqlx::query_scalar!(
        "select troop_id from troop where unit_id = $1 and troop_id = $2 for no key update",
        by.unit()?.0,
        troop.0
    );
    found.fetch_optional(tx.db()).await?.ok_or(Code::NotFound)?;
    by.reach(troop)
}

/// Which troops are asked for.
#[derive(Clone, Debug)]
pub(in crate::roster) struct Wanted<'a> {
    pub season: SeasonId,
    pub number_key: Option<&'a str>,
    /// Whether also those that went into another troop of that season.
    pub merged: bool,
    /// Only those that changed, themselves or in that season, after this number of the log.
    pub since: Option<i64>,
    pub after: Option<TroopId>,
    /// None for all of them, where what was typed has yet to be looked for.
    pub limit: Option<i64>,
}

/// In the order of their numbers, as people count.
pub(in crate::roster) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    wanted: Wanted<'_>,
) -> Result<Vec<TroopRow>, ApiError> {
    let within = scope.troops();
    let rows = sqlx::query_as!(
        TroopRow,
        r#"select t.troop_id, t.number, t.name, t.kind, t.meeting_place, t.version, ts.age_band as "age_band?",
               ts.selling_youths as "selling_youths?", ts.first_season as "first_season?", ts.ended_at,
               m.to_troop_id as "merged_into?", s.from_troop_id as "split_from?"
           from troop t
           left join troop_season ts on ts.unit_id = t.unit_id and ts.troop_id = t.troop_id and ts.season_id = $3
           left join regrouping m on m.unit_id = t.unit_id and m.season_id = $3 and m.from_troop_id = t.troop_id and m.kind = 'merge'
           left join regrouping s on s.unit_id = t.unit_id and s.season_id = $3 and s.to_troop_id = t.troop_id and s.kind = 'split'
           where t.unit_id = $1 and ($2::uuid[] is null or t.troop_id = any ($2))
             and ($4::text is null or t.number_key = $4) and ($7 or ts.ended_at is null)
             and ($8::bigint is null or t.log_seq > $8 or ts.log_seq > $8)
             and ($5::uuid is null or (length(t.number_key), t.number_key)
                 > (select length(last.number_key), last.number_key from troop last
                    where last.unit_id = $1 and last.troop_id = $5))
           order by length(t.number_key), t.number_key limit $6"#,
        unit.0,
        within.as_deref(),
        wanted.season.0,
        wanted.number_key,
        wanted.after.map(|troop| troop.0),
        wanted.limit,
        wanted.merged,
        wanted.since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in crate::roster) async fn insert<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &TroopRow,
    number_key: &str,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into troop (unit_id, troop_id, number, number_key, name, kind, meeting_place, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        by.unit()?.0,
        row.troop_id,
        row.number,
        number_key,
        row.name,
        row.kind,
        row.meeting_place,
        row.version,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("troop_number_unique", Code::NumberTaken)?;
    Ok(())
}

/// Writes the new fields of a troop; its version goes up by one, also where only its season changes.
pub(in crate::roster) async fn update<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &TroopRow,
    number_key: &str,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update troop set number = $3, number_key = $4, name = $5, meeting_place = $6, version = version + 1, log_seq = $7
         where unit_id = $1 and troop_id = $2",
        by.unit()?.0,
        row.troop_id,
        row.number,
        number_key,
        row.name,
        row.meeting_place,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("troop_number_unique", Code::NumberTaken)?;
    Ok(())
}

/// A troop's place in a season.
#[derive(Clone, Debug)]
pub(in crate::roster) struct Place<'a> {
    pub age_band: &'a str,
    pub selling_youths: i32,
    pub first_season: bool,
}

/// Writes a troop's place in a season, new (from now on) or changed.
pub(in crate::roster) async fn keep_place<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troop: TroopId,
    place: Place<'_>,
    log_seq: i64,
) -> Result<(), ApiError> {
    let began_at = tx.logged_at();
    sqlx::query!(
        "insert into troop_season (unit_id, troop_id, season_id, age_band, selling_youths, first_season, log_seq, began_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8)
         on conflict (unit_id, troop_id, season_id)
         do update set age_band = $4, selling_youths = $5, first_season = $6, log_seq = $7",
        by.unit()?.0,
        troop.0,
        season.0,
        place.age_band,
        place.selling_youths,
        place.first_season,
        log_seq,
        began_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
