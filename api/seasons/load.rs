//! Which season is meant, whether it may be changed, and what its rules are: for the other features.

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;

use super::calendar::{Calendar, Milestone};
use super::kind::MilestoneKind;
use super::policy::{Policy, shipped_policy};
use super::rules;
use super::sql::milestones::{self, MilestoneRow};
use super::sql::{self, SeasonRow};
use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::{ApiError, Code, FieldError};

/// A season, as the other features need it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ThisSeason {
    /// Which one.
    pub season_id: SeasonId,
    /// What people call it.
    pub label: String,
    /// The zone in which its days and hours are meant.
    pub zone: Tz,
    /// The currency of its money, by three letters.
    pub currency: String,
    /// Its first day.
    pub starts_on: NaiveDate,
    /// Its last day.
    pub ends_on: NaiveDate,
    /// Whether it is the unit's current one.
    pub is_current: bool,
    /// When it was closed; none while it may be changed.
    pub closed_at: Option<DateTime<Utc>>,
}

impl ThisSeason {
    /// The one rule of the guard: nothing is written into a closed season.
    ///
    /// # Errors
    /// 409 if it is closed.
    pub fn open(&self) -> Result<(), ApiError> {
        open(self.closed_at)
    }
}

impl TryFrom<SeasonRow> for ThisSeason {
    type Error = ApiError;

    fn try_from(row: SeasonRow) -> Result<Self, ApiError> {
        let zone = rules::zone(&row.time_zone).ok_or_else(|| ApiError::broken("a season in no known time zone"))?;
        let SeasonRow { season_id, label, currency, starts_on, ends_on, is_current, closed_at, .. } = row;
        let season_id = SeasonId(season_id);
        Ok(Self { season_id, label, zone, currency, starts_on, ends_on, is_current, closed_at })
    }
}

/// The unit's current season.
///
/// # Errors
/// 409 if there is none.
pub async fn current(tx: &mut Tx, unit: UnitId) -> Result<ThisSeason, ApiError> {
    sql::current(tx, unit).await?.ok_or(Code::NoCurrentSeason)?.try_into()
}

/// The season that a `?season=` parameter names, or the current one without it.
///
/// # Errors
/// 422 for an unknown one, 409 if none is named and there is no current one.
pub async fn resolve(tx: &mut Tx, unit: UnitId, asked: Option<SeasonId>) -> Result<ThisSeason, ApiError> {
    let Some(season) = asked else { return current(tx, unit).await };
    let fault = || FieldError::parameter("season", "unknown", "the id of a season of this unit (list_seasons)");
    let row = sql::find(tx, unit, season).await?;
    row.ok_or_else(|| ApiError::new(Code::UnknownReference).errors(vec![fault()]))?.try_into()
}

/// Whether the unit has this season.
///
/// # Errors
/// Database faults.
pub async fn exists(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<bool, ApiError> {
    Ok(sql::find(tx, unit, season).await?.is_some())
}

/// The season, held as it is until the transaction ends, closed or not: for acts that look at something else before they
/// ask whether it is open ([`ThisSeason::open`]).
///
/// # Errors
/// 404 for an unknown season.
pub async fn hold(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<ThisSeason, ApiError> {
    sql::hold(tx, unit, season).await?.ok_or(Code::NotFound)?.try_into()
}

/// THE guard of a season: every write into one passes here, with the first of its locks. Holds the season open until
/// the transaction ends.
///
/// # Errors
/// 404 for an unknown season, 409 for a closed one.
pub async fn guard_open(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<ThisSeason, ApiError> {
    let held = hold(tx, unit, season).await?;
    held.open()?;
    Ok(held)
}

/// The current season, held as it is until the transaction ends ([`hold`]).
///
/// # Errors
/// 409 if there is none.
pub async fn hold_current(tx: &mut Tx, unit: UnitId) -> Result<ThisSeason, ApiError> {
    let season = current(tx, unit).await?;
    hold(tx, unit, season.season_id).await
}

/// The current season, held open for a write ([`guard_open`]).
///
/// # Errors
/// 409 if there is none or it is closed.
pub async fn guard_current(tx: &mut Tx, unit: UnitId) -> Result<ThisSeason, ApiError> {
    let season = hold_current(tx, unit).await?;
    season.open()?;
    Ok(season)
}

pub(super) fn open(closed_at: Option<DateTime<Utc>>) -> Result<(), ApiError> {
    if closed_at.is_some() { Err(Code::SeasonClosed.into()) } else { Ok(()) }
}

/// The season's calendar, with its milestones as they are dated now, but those that repeat.
///
/// # Errors
/// Database faults.
pub async fn calendar_of(tx: &mut Tx, unit: UnitId, season: &ThisSeason) -> Result<Calendar, ApiError> {
    let rows = milestones::all(tx, unit, season.season_id).await?;
    // What comes back every week is no point that something is done before or that a gate waits for.
    let milestones = rows.into_iter().filter(|row| row.repeats_until_on.is_none()).map(milestone).collect();
    Ok(Calendar { zone: season.zone, starts_on: season.starts_on, milestones })
}

pub(super) fn milestone(row: MilestoneRow) -> Milestone {
    let when = |day: Option<NaiveDate>, time: Option<NaiveTime>| {
        day.map(|day| MilestoneKind::named(&row.kind).when(day, time))
    };
    Milestone {
        ours: when(row.on_day, row.at_local_time),
        head_office: when(row.head_office_on_day, row.head_office_at_local_time),
        code: row.code,
        title: row.title,
    }
}

/// The season's policy in force.
///
/// # Errors
/// Database faults.
pub async fn policy_of(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Policy, ApiError> {
    let row = sql::policy(tx, unit, season, None).await?;
    row.map(|row| row.document.0).ok_or_else(|| ApiError::broken("a season without a policy"))
}

/// The policy that was in force when the unit's log stood at `seq`; before the season began, its first one.
///
/// # Errors
/// Database faults.
pub async fn policy_at(tx: &mut Tx, unit: UnitId, season: SeasonId, seq: i64) -> Result<Policy, ApiError> {
    match sql::policy(tx, unit, season, Some(seq)).await? {
        Some(row) => Ok(row.document.0),
        None => shipped_policy().map_err(|error| ApiError::internal(&error)),
    }
}
