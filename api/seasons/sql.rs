//! Every query of seasons.

pub(super) mod events;
pub(super) mod milestones;

use chrono::{DateTime, NaiveDate, Utc};
use sqlx::types::Json;
use uuid::Uuid;

use super::calendar::SHIPPED_MILESTONES;
use super::policy::Policy;
use crate::auth::permission::{PolicyChange, SeasonsChange};
use crate::auth::{Permission, Permit, Tx};
use crate::common::ids::{MilestoneId, SeasonId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};

#[derive(Clone, Debug)]
pub(super) struct SeasonRow {
    pub season_id: Uuid,
    pub label: String,
    pub time_zone: String,
    pub currency: String,
    pub starts_on: NaiveDate,
    pub ends_on: NaiveDate,
    pub is_current: bool,
    pub closed_at: Option<DateTime<Utc>>,
    pub version: i64,
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Option<SeasonRow>, ApiError> {
    let row = sqlx::query_as!(
        SeasonRow,
        "select season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version
         from season where unit_id = $1 and season_id = $2",
        unit.0,
        season.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

pub(super) async fn current(tx: &mut Tx, unit: UnitId) -> Result<Option<SeasonRow>, ApiError> {
    let row = sqlx::query_as!(
        SeasonRow,
        "select season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version
         from season where unit_id = $1 and is_current",
        unit.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Holds a season as it is until this transaction ends: whoever closes or changes it waits.
pub(super) async fn hold(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Option<SeasonRow>, ApiError> {
    let row = sqlx::query_as!(
        SeasonRow,
        "select season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version
         from season where unit_id = $1 and season_id = $2 for share",
        unit.0,
        season.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Locks every season of the unit in id order, since making one current changes another too.
pub(super) async fn lock_all(tx: &mut Tx, by: &Permit<SeasonsChange>) -> Result<Vec<SeasonRow>, ApiError> {
    let rows = sqlx::query_as!(
        SeasonRow,
        "select season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version
         from season where unit_id = $1 order by season_id for no key update",
        by.unit()?.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The youngest first.
pub(super) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    since: Option<i64>,
    (after, limit): (Option<SeasonId>, i64),
) -> Result<Vec<SeasonRow>, ApiError> {
    let rows = sqlx::query_as!(
        SeasonRow,
        "select season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version
         from season where unit_id = $1 and ($2::uuid is null or (starts_on, season_id)
             < (select last.starts_on, last.season_id from season last where last.unit_id = $1 and last.season_id = $2))
           and ($4::bigint is null or log_seq > $4)
         order by starts_on desc, season_id desc limit $3",
        unit.0,
        after.map(|season| season.0),
        limit,
        since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Writes a new season. The unit's first one becomes its current one; whether it did is answered.
pub(super) async fn insert(
    tx: &mut Tx,
    by: &Permit<SeasonsChange>,
    new: &SeasonRow,
    log_seq: i64,
) -> Result<bool, ApiError> {
    let unit = by.unit()?;
    let is_current = sqlx::query_scalar!(
        "insert into season (unit_id, season_id, label, time_zone, currency, starts_on, ends_on, is_current, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, not exists (select from season where unit_id = $1 and is_current), 1, $8)
         returning is_current",
        unit.0, new.season_id, new.label, new.time_zone, new.currency, new.starts_on, new.ends_on, log_seq
    )
    .fetch_one(tx.db())
    .await
    .on_constraint("season_label_unique", Code::LabelTaken)
    .on_constraint("season_one_current", Code::Conflict)?;
    Ok(is_current)
}

/// The milestones that every season starts with, undated.
pub(super) async fn insert_shipped_milestones(
    tx: &mut Tx,
    by: &Permit<SeasonsChange>,
    season: SeasonId,
    log_seq: i64,
) -> Result<(), ApiError> {
    let ids: Vec<Uuid> = SHIPPED_MILESTONES.iter().map(|_| MilestoneId::new().0).collect();
    let codes: Vec<String> = SHIPPED_MILESTONES.iter().map(|(code, ..)| (*code).to_owned()).collect();
    let titles: Vec<String> = SHIPPED_MILESTONES.iter().map(|(_, title, _)| (*title).to_owned()).collect();
    let kinds: Vec<String> = SHIPPED_MILESTONES.iter().map(|(.., kind)| kind.name().to_owned()).collect();
    sqlx::query!(
        "insert into milestone (unit_id, milestone_id, season_id, code, title, kind, version, log_seq)
         select $1, shipped.milestone_id, $2, shipped.code, shipped.title, shipped.kind, 1, $3
         from unnest($4::uuid[], $5::text[], $6::text[], $7::text[]) as shipped (milestone_id, code, title, kind)",
        by.unit()?.0,
        season.0,
        log_seq,
        &ids,
        &codes,
        &titles,
        &kinds
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Writes the new fields of a season; its version goes up by one.
pub(super) async fn update(
    tx: &mut Tx,
    by: &Permit<SeasonsChange>,
    row: &SeasonRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update season set label = $3, time_zone = $4, starts_on = $5, ends_on = $6, is_current = $7, version = version + 1,
             log_seq = $8
         where unit_id = $1 and season_id = $2",
        by.unit()?.0, row.season_id, row.label, row.time_zone, row.starts_on, row.ends_on, row.is_current, log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("season_label_unique", Code::LabelTaken)?;
    Ok(())
}

#[derive(Clone, Debug)]
pub(super) struct PolicyRow {
    pub version: i64,
    pub document: Json<Policy>,
    pub made_at: DateTime<Utc>,
}

/// The version in force, or the one that was in force at a place in the unit's log.
pub(super) async fn policy(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    at_seq: Option<i64>,
) -> Result<Option<PolicyRow>, ApiError> {
    let row = sqlx::query_as!(
        PolicyRow,
        r#"select version, document as "document: Json<Policy>", made_at from policy_version
           where unit_id = $1 and season_id = $2 and ($3::bigint is null or log_seq <= $3)
           order by version desc limit 1"#,
        unit.0,
        season.0,
        at_seq
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Every version that there was.
pub(super) async fn policies(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<PolicyRow>, ApiError> {
    let rows = sqlx::query_as!(
        PolicyRow,
        r#"select version, document as "document: Json<Policy>", made_at from policy_version
           where unit_id = $1 and season_id = $2 order by version desc"#,
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Locks the season of a policy: of two changes of one version the second sees the first.
pub(super) async fn lock_for_policy(
    tx: &mut Tx,
    by: &Permit<PolicyChange>,
    season: SeasonId,
) -> Result<Option<SeasonRow>, ApiError> {
    let row = sqlx::query_as!(
        SeasonRow,
        "select season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version
         from season where unit_id = $1 and season_id = $2 for no key update",
        by.unit()?.0,
        season.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// The first version comes with the season, every later one with a change of the policy.
pub(super) async fn insert_policy<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    row: &PolicyRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    let made_by = tx.actor().to_owned();
    sqlx::query!(
        "insert into policy_version (unit_id, season_id, version, document, made_at, made_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7)",
        by.unit()?.0,
        season.0,
        row.version,
        Json(&row.document.0) as _,
        row.made_at,
        made_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
