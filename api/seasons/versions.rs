//! The versions of a season's policy, and the milestones that it names: for the feature that changes it.

use chrono::{DateTime, Utc};
use sqlx::types::Json;

use super::load::ThisSeason;
use super::policy::Policy;
use super::sql::milestones::{self, MilestoneRow};
use super::sql::{self, PolicyRow};
use crate::auth::permission::{Permission, PolicyChange};
use crate::auth::{Permit, Tx};
use crate::common::ids::{MilestoneId, SeasonId, UnitId};
use crate::error::{ApiError, Code};

/// How many milestones a season can have: the shipped ones and many of one's own.
const MOST_MILESTONES: usize = 100;

/// One version of a season's policy.
#[derive(Clone, Debug)]
pub struct PolicyVersion {
    /// Its number.
    pub version: i64,
    /// The policy.
    pub policy: Policy,
    /// When it was made.
    pub made_at: DateTime<Utc>,
}

/// The version in force.
///
/// # Errors
/// 404 for an unknown season.
pub async fn policy_in_force(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<PolicyVersion, ApiError> {
    let PolicyRow { version, document, made_at } = sql::policy(tx, unit, season, None).await?.ok_or(Code::NotFound)?;
    Ok(PolicyVersion { version, policy: document.0, made_at })
}

/// Locks the season of a policy: of two changes of one version the second sees the first.
///
/// # Errors
/// 404 for an unknown season.
pub async fn lock_for_policy(tx: &mut Tx, by: &Permit<PolicyChange>, season: SeasonId) -> Result<ThisSeason, ApiError> {
    sql::lock_for_policy(tx, by, season).await?.ok_or(Code::NotFound)?.try_into()
}

/// Writes the next version of a policy. Whoever writes it has locked the season and checked the document.
///
/// # Errors
/// Database faults.
pub async fn put_policy(
    tx: &mut Tx,
    by: &Permit<PolicyChange>,
    season: SeasonId,
    new: &PolicyVersion,
    log_seq: i64,
) -> Result<(), ApiError> {
    let row = PolicyRow { version: new.version, document: Json(new.policy.clone()), made_at: new.made_at };
    sql::insert_policy(tx, by, season, &row, log_seq).await
}

/// The codes of a season's milestones that a policy can name: dated or not, but none that repeats.
///
/// # Errors
/// Database faults.
pub async fn milestone_codes(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<String>, ApiError> {
    let rows = milestones::all(tx, unit, season).await?.into_iter();
    Ok(rows.filter(|row| row.repeats_until_on.is_none()).map(|row| row.code).collect())
}

/// Whether so many more milestones have room in a season.
pub(super) fn room_for_milestones(present: usize, more: usize) -> Result<(), ApiError> {
    if present.saturating_add(more) <= MOST_MILESTONES {
        return Ok(());
    }
    let detail = format!("A season has at most {MOST_MILESTONES} milestones. Change one that is not needed.");
    Err(ApiError::new(Code::Conflict).detail(detail))
}

/// The codes of the milestones that one season has and another has not, in order.
///
/// # Errors
/// 409 where the other season would have too many with them.
pub async fn missing_milestones(
    tx: &mut Tx,
    unit: UnitId,
    (from, into): (SeasonId, SeasonId),
) -> Result<Vec<String>, ApiError> {
    let known = milestones::all(tx, unit, into).await?;
    let there = milestones::all(tx, unit, from).await?.into_iter().map(|row| row.code);
    let missing: Vec<String> = there.filter(|code| known.iter().all(|row| row.code != *code)).collect();
    room_for_milestones(known.len(), missing.len())?;
    Ok(missing)
}

/// Copies the milestones of these codes from one season into another: undated, so that they come once and no troop's
/// standing changes by them.
///
/// # Errors
/// Database faults.
pub async fn copy_milestones<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    (from, into): (SeasonId, SeasonId),
    codes: &[String],
) -> Result<(), ApiError> {
    let rows = milestones::all(tx, by.unit()?, from).await?;
    let log_seq = tx.seq().await?;
    for MilestoneRow { code, title, kind, .. } in rows.into_iter().filter(|row| codes.contains(&row.code)) {
        let row = MilestoneRow {
            milestone_id: MilestoneId::new().0,
            code,
            title,
            kind,
            on_day: None,
            at_local_time: None,
            head_office_on_day: None,
            head_office_at_local_time: None,
            repeats_until_on: None,
            version: 1,
            log_seq,
        };
        milestones::insert(tx, by, into, &row, log_seq).await?;
        tx.about("milestone", row.milestone_id);
    }
    Ok(())
}
