//! Every query of milestones.

use chrono::{NaiveDate, NaiveTime};
use uuid::Uuid;

use super::super::kind::MilestoneKind;
use super::super::rules;
use crate::auth::permission::{Permission, SeasonsChange};
use crate::auth::{Permit, Tx};
use crate::common::ids::{MilestoneId, SeasonId, UnitId};
use crate::error::{ApiError, Code, FieldError, OnConstraint as _};

#[derive(Clone, Debug)]
pub(in crate::seasons) struct MilestoneRow {
    pub milestone_id: Uuid,
    pub code: String,
    pub title: String,
    pub kind: String,
    pub on_day: Option<NaiveDate>,
    pub at_local_time: Option<NaiveTime>,
    pub head_office_on_day: Option<NaiveDate>,
    pub head_office_at_local_time: Option<NaiveTime>,
    pub repeats_until_on: Option<NaiveDate>,
    pub version: i64,
    pub log_seq: i64,
}

impl MilestoneRow {
    /// What it is.
    pub fn kind(&self) -> MilestoneKind {
        MilestoneKind::named(&self.kind)
    }

    /// What is wrong with its dates by themselves, whatever its season: all of it.
    pub fn date_faults(&self) -> Vec<FieldError> {
        let (ours, theirs) =
            ((self.on_day, self.at_local_time), (self.head_office_on_day, self.head_office_at_local_time));
        let mut faults = rules::time_faults(ours, theirs);
        faults.extend(rules::repeat_fault(self.on_day, self.repeats_until_on));
        faults.extend(self.kind().pair_fault(ours, theirs));
        faults
    }

    /// Its days, each with its place in a body.
    pub fn days(&self) -> [(&'static str, Option<NaiveDate>); 3] {
        [
            ("/on_day", self.on_day),
            ("/head_office_on_day", self.head_office_on_day),
            ("/repeats_until_on", self.repeats_until_on),
        ]
    }
}

/// All of a season; `add_milestone` bounds how many there are.
pub(in crate::seasons) async fn all(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
) -> Result<Vec<MilestoneRow>, ApiError> {
    let rows = sqlx::query_as!(
        MilestoneRow,
        "select milestone_id, code, title, kind, on_day, at_local_time, head_office_on_day, head_office_at_local_time,
                repeats_until_on, version, log_seq
         from milestone where unit_id = $1 and season_id = $2 order by code",
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in crate::seasons) async fn lock(
    tx: &mut Tx,
    by: &Permit<SeasonsChange>,
    season: SeasonId,
    milestone: MilestoneId,
) -> Result<MilestoneRow, ApiError> {
    let row = sqlx::query_as!(
        MilestoneRow,
        "select milestone_id, code, title, kind, on_day, at_local_time, head_office_on_day, head_office_at_local_time,
                repeats_until_on, version, log_seq
         from milestone where unit_id = $1 and season_id = $2 and milestone_id = $3 for update",
        by.unit()?.0,
        season.0,
        milestone.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

pub(in crate::seasons) async fn insert<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    row: &MilestoneRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into milestone (unit_id, milestone_id, season_id, code, title, on_day, at_local_time, head_office_on_day,
             head_office_at_local_time, repeats_until_on, kind, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, 1, $12)",
        by.unit()?.0, row.milestone_id, season.0, row.code, row.title, row.on_day, row.at_local_time,
        row.head_office_on_day, row.head_office_at_local_time, row.repeats_until_on, row.kind, log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("milestone_code_unique", Code::CodeTaken)?;
    Ok(())
}

/// Writes the new fields of a milestone; its version goes up by one.
pub(in crate::seasons) async fn update(
    tx: &mut Tx,
    by: &Permit<SeasonsChange>,
    row: &MilestoneRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update milestone set title = $3, on_day = $4, at_local_time = $5, head_office_on_day = $6,
             head_office_at_local_time = $7, repeats_until_on = $8, kind = $9, version = version + 1, log_seq = $10
         where unit_id = $1 and milestone_id = $2",
        by.unit()?.0,
        row.milestone_id,
        row.title,
        row.on_day,
        row.at_local_time,
        row.head_office_on_day,
        row.head_office_at_local_time,
        row.repeats_until_on,
        row.kind,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes a milestone away, to which nothing refers.
pub(in crate::seasons) async fn delete(
    tx: &mut Tx,
    by: &Permit<SeasonsChange>,
    milestone: MilestoneId,
) -> Result<(), ApiError> {
    sqlx::query!("delete from milestone where unit_id = $1 and milestone_id = $2", by.unit()?.0, milestone.0)
        .execute(tx.db())
        .await?;
    Ok(())
}
