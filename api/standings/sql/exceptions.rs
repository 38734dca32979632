//! Waivers and overrides as they are asked for, granted, and taken back.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use crate::auth::permission::{OverridesGive, Permission, WaiversGive};
use crate::auth::{Permit, Tx};
use crate::common::ids::{OverrideId, SeasonId, UnitId, WaiverId};
use crate::error::{ApiError, Code, OnConstraint as _};

pub(in super::super) use super::exception_reasons::{override_reasons, waiver_reasons};

#[derive(Clone, Debug)]
pub(in super::super) struct WaiverRow {
    pub waiver_id: Uuid,
    pub season_id: Uuid,
    pub requirement: String,
    pub person_id: Option<Uuid>,
    pub troop_id: Option<Uuid>,
    pub reason: String,
    pub until_on: NaiveDate,
    pub needs_two: bool,
    pub asked_at: DateTime<Utc>,
    pub asked_by: String,
    pub granted_at: Option<DateTime<Utc>>,
    pub granted_by: Option<String>,
    pub revoked_at: Option<DateTime<Utc>>,
    pub log_seq: i64,
}

/// Every waiver of a season; people make them one by one.
pub(in super::super) async fn waivers(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<WaiverRow>, ApiError> {
    let rows = sqlx::query_as!(
        WaiverRow,
        "select waiver_id, season_id, requirement, person_id, troop_id, reason, until_on, needs_two, asked_at, asked_by,
                granted_at, granted_by, revoked_at, log_seq
         from waiver where unit_id = $1 and season_id = $2",
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The waivers of the same requirement and subject.
pub(in super::super) async fn waivers_of(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    like: &WaiverRow,
) -> Result<Vec<WaiverRow>, ApiError> {
    let rows = sqlx::query_as!(
        WaiverRow,
        "select waiver_id, season_id, requirement, person_id, troop_id, reason, until_on, needs_two, asked_at, asked_by,
                granted_at, granted_by, revoked_at, log_seq
         from waiver where unit_id = $1 and season_id = $2 and requirement = $3
           and person_id is not distinct from $4 and troop_id is not distinct from $5",
        unit.0,
        season.0,
        like.requirement,
        like.person_id,
        like.troop_id
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) async fn find_waiver(
    tx: &mut Tx,
    unit: UnitId,
    waiver: WaiverId,
) -> Result<Option<WaiverRow>, ApiError> {
    let row = sqlx::query_as!(
        WaiverRow,
        "select waiver_id, season_id, requirement, person_id, troop_id, reason, until_on, needs_two, asked_at, asked_by,
                granted_at, granted_by, revoked_at, log_seq
         from waiver where unit_id = $1 and waiver_id = $2",
        unit.0,
        waiver.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Locks a waiver: 404 if the unit has none of this id.
pub(in super::super) async fn lock_waiver<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    waiver: WaiverId,
) -> Result<WaiverRow, ApiError> {
    let row = sqlx::query_as!(
        WaiverRow,
        "select waiver_id, season_id, requirement, person_id, troop_id, reason, until_on, needs_two, asked_at, asked_by,
                granted_at, granted_by, revoked_at, log_seq
         from waiver where unit_id = $1 and waiver_id = $2 for no key update",
        by.unit()?.0,
        waiver.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

pub(in super::super) async fn insert_waiver(
    tx: &mut Tx,
    by: &Permit<WaiversGive>,
    row: &WaiverRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into waiver (unit_id, waiver_id, season_id, requirement, person_id, troop_id, reason, until_on, needs_two,
             asked_at, asked_by, granted_at, granted_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)",
        by.unit()?.0,
        row.waiver_id,
        row.season_id,
        row.requirement,
        row.person_id,
        row.troop_id,
        row.reason,
        row.until_on,
        row.needs_two,
        row.asked_at,
        row.asked_by,
        row.granted_at,
        row.granted_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Stamps a waiver as granted or taken back.
pub(in super::super) async fn stamp_waiver<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &WaiverRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    let revoked_by = row.revoked_at.map(|_| tx.actor().to_owned());
    sqlx::query!(
        "update waiver set granted_at = $3, granted_by = $4, revoked_at = $5, revoked_by = $6, log_seq = $7
         where unit_id = $1 and waiver_id = $2",
        by.unit()?.0,
        row.waiver_id,
        row.granted_at,
        row.granted_by,
        row.revoked_at,
        revoked_by,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("waiver_by_two_different_people", Code::SecondPersonNeeded)?;
    Ok(())
}

#[derive(Clone, Debug)]
pub(in super::super) struct OverrideRow {
    pub override_id: Uuid,
    pub season_id: Uuid,
    pub troop_id: Uuid,
    pub gate: String,
    pub reason: String,
    pub until_on: NaiveDate,
    pub needs_two: bool,
    pub asked_at: DateTime<Utc>,
    pub asked_by: String,
    pub granted_at: Option<DateTime<Utc>>,
    pub granted_by: Option<String>,
    pub revoked_at: Option<DateTime<Utc>>,
    pub log_seq: i64,
}

/// Every override of a season, or of one of its troops; people make them one by one.
pub(in super::super) async fn overrides(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troop: Option<Uuid>,
) -> Result<Vec<OverrideRow>, ApiError> {
    let rows = sqlx::query_as!(
        OverrideRow,
        "select override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, granted_at, granted_by,
                revoked_at, log_seq
         from gate_override where unit_id = $1 and season_id = $2 and ($3::uuid is null or troop_id = $3)",
        unit.0,
        season.0,
        troop
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) async fn find_override(
    tx: &mut Tx,
    unit: UnitId,
    id: OverrideId,
) -> Result<Option<OverrideRow>, ApiError> {
    let row = sqlx::query_as!(
        OverrideRow,
        "select override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, granted_at, granted_by,
                revoked_at, log_seq
         from gate_override where unit_id = $1 and override_id = $2",
        unit.0,
        id.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Locks an override: 404 if the unit has none of this id.
pub(in super::super) async fn lock_override<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    id: OverrideId,
) -> Result<OverrideRow, ApiError> {
    let row = sqlx::query_as!(
        OverrideRow,
        "select override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, granted_at, granted_by,
                revoked_at, log_seq
         from gate_override where unit_id = $1 and override_id = $2 for no key update",
        by.unit()?.0,
        id.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

pub(in super::super) async fn insert_override(
    tx: &mut Tx,
    by: &Permit<OverridesGive>,
    row: &OverrideRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into gate_override (unit_id, override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by,
             granted_at, granted_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        by.unit()?.0,
        row.override_id,
        row.season_id,
        row.troop_id,
        row.gate,
        row.reason,
        row.until_on,
        row.needs_two,
        row.asked_at,
        row.asked_by,
        row.granted_at,
        row.granted_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Stamps an override as granted or taken back.
pub(in super::super) async fn stamp_override<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &OverrideRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    let revoked_by = row.revoked_at.map(|_| tx.actor().to_owned());
    sqlx::query!(
        "update gate_override set granted_at = $3, granted_by = $4, revoked_at = $5, revoked_by = $6, log_seq = $7
         where unit_id = $1 and override_id = $2",
        by.unit()?.0,
        row.override_id,
        row.granted_at,
        row.granted_by,
        row.revoked_at,
        revoked_by,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("gate_override_by_two_different_people", Code::SecondPersonNeeded)?;
    Ok(())
}
