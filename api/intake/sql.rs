//! Every query of intake; those about rows are in [`rows`], about all lists of a kind in [`lists`].

pub(super) mod decisions;
pub(super) mod lists;
pub(super) mod needs;
pub(super) mod one_person;
pub(super) mod retention;
pub(super) mod reversal;
pub(super) mod rows;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Deserialize;
use sqlx::types::Json;
use uuid::Uuid;

use super::columns::plan::{ColumnChoices, ColumnPlan};
use super::counts::Counts;
use super::parse::table::{SkippedRow, Source};
use super::parse::{ParseFault, ParsedTable};
use super::shown::AbsentOne;
use crate::auth::permission::{IntakesApply, IntakesUpload, Permission};
use crate::auth::{Permit, Tx};
use crate::common::ids::{IntakeId, SeasonId, UnitId};
use crate::error::{ApiError, Code};
use crate::roster::MadeByList;

/// How a file was read, and the rows that were passed over.
#[derive(Debug, Deserialize)]
pub(super) struct HowRead {
    pub source: Source,
    pub skipped: Vec<SkippedRow>,
}

/// A list on its way in, without its rows.
pub(super) struct IntakeRecord {
    pub intake_id: Uuid,
    pub season_id: Uuid,
    pub kind: String,
    pub file_name: String,
    pub listed_on: NaiveDate,
    pub state: String,
    pub fault: Option<Json<ParseFault>>,
    /// How the file was read and what was passed over; the table itself is asked for where it is needed ([`table`]).
    pub how_read: Option<Json<HowRead>>,
    pub choices: Json<ColumnChoices>,
    pub columns: Option<Json<ColumnPlan>>,
    pub counts: Json<Counts>,
    pub uploaded_at: DateTime<Utc>,
    pub applied_at: Option<DateTime<Utc>>,
    /// An earlier list of the same bytes that was applied.
    pub same_file_as: Option<Uuid>,
    pub complete: bool,
    pub absences: Json<Vec<AbsentOne>>,
    /// An applied list of this kind that speaks for a later day.
    pub superseded_by: Option<Uuid>,
    /// The day for which that one speaks.
    pub superseded_on: Option<NaiveDate>,
    pub made: Option<Json<MadeByList>>,
    pub reversed_at: Option<DateTime<Utc>>,
    pub sheets: Json<Vec<String>>,
    pub erased_at: Option<DateTime<Utc>>,
    pub version: i64,
    pub log_seq: i64,
}

/// An intake whose row is held until the transaction ends.
pub(super) struct LockedIntake(pub IntakeRecord);

/// A file and what it is about, as it came.
pub(super) struct NewIntake<'a> {
    pub intake_id: IntakeId,
    pub season_id: SeasonId,
    pub kind: &'a str,
    pub file_name: &'a str,
    pub sha256: &'a [u8],
    pub content: &'a [u8],
    pub listed_on: NaiveDate,
    pub complete: bool,
}

pub(super) async fn insert(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    new: &NewIntake<'_>,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, now, real_now, actor) = (by.unit()?, tx.logged_at(), tx.real_now(), tx.actor().to_owned());
    sqlx::query!(
        "insert into blob (unit_id, sha256, content, kept_at) values ($1, $2, $3, $4)
         on conflict (unit_id, sha256) do update set content = excluded.content",
        unit.0,
        new.sha256,
        new.content,
        now
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "insert into intake (unit_id, intake_id, season_id, kind, file_name, file_sha256, listed_on, state, reading_since,
             choices, counts, uploaded_at, uploaded_by, version, log_seq, complete)
         values ($1, $2, $3, $4, $5, $6, $7, 'reading', $8, $9, $10, $11, $12, 1, $13, $14)",
        unit.0,
        new.intake_id.0,
        new.season_id.0,
        new.kind,
        new.file_name,
        new.sha256,
        new.listed_on,
        real_now,
        Json(ColumnChoices::default()) as _,
        Json(Counts::default()) as _,
        now,
        actor,
        log_seq,
        new.complete
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<IntakeRecord, ApiError> {
    let row = sqlx::query_as!(
        IntakeRecord,
        r#"select i.intake_id, i.season_id, i.kind, i.file_name, i.listed_on, i.state, i.fault as "fault: Json<ParseFault>",
                  case when i.parsed is not null then
                      jsonb_build_object('source', i.parsed -> 'source', 'skipped', i.parsed -> 'skipped')
                  end as "how_read: Json<HowRead>", i.choices as "choices: Json<ColumnChoices>",
                  i.columns as "columns: Json<ColumnPlan>", i.counts as "counts: Json<Counts>", i.uploaded_at, i.applied_at,
                  (select o.intake_id from intake o
                   where o.unit_id = i.unit_id and o.file_sha256 = i.file_sha256 and o.kind = i.kind
                     and o.state = 'applied' and o.intake_id <> i.intake_id
                   order by o.applied_at limit 1) as "same_file_as?",
                  i.complete, i.absences as "absences: Json<Vec<AbsentOne>>",
                  newer.intake_id as "superseded_by?", newer.listed_on as "superseded_on?",
                  i.made as "made: Json<MadeByList>", i.reversed_at, i.sheets as "sheets: Json<Vec<String>>",
                  i.erased_at, i.version, i.log_seq
           from intake i
           left join lateral (
               select o.intake_id, o.listed_on from intake o
               where o.unit_id = i.unit_id and o.season_id = i.season_id and o.kind = i.kind and o.state = 'applied'
                 and o.listed_on > i.listed_on and o.intake_id <> i.intake_id
               order by o.listed_on desc, o.intake_id limit 1) newer on true
           where i.unit_id = $1 and i.intake_id = $2"#,
        unit.0,
        intake.0
    );
    Ok(row.fetch_optional(tx.db()).await?.ok_or(Code::NotFound)?)
}

/// What was read of an intake's file; none before it is read, and where it has been erased.
pub(super) async fn table(tx: &mut Tx, unit: UnitId, intake: Uuid) -> Result<Option<ParsedTable>, ApiError> {
    let parsed = sqlx::query_scalar!(
        r#"select parsed as "parsed: Json<ParsedTable>" from intake where unit_id = $1 and intake_id = $2"#,
        unit.0,
        intake
    );
    Ok(parsed.fetch_optional(tx.db()).await?.flatten().map(|parsed| parsed.0))
}

/// Holds an intake, then reads it in the next statement.
pub(super) async fn lock<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    intake: IntakeId,
) -> Result<LockedIntake, ApiError> {
    lock_by_system(tx, by.unit()?, intake).await
}

/// As [`lock`], for the reader of lists.
pub(super) async fn lock_by_system(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<LockedIntake, ApiError> {
    let held = sqlx::query_scalar!(
        "select intake_id from intake where unit_id = $1 and intake_id = $2 for no key update",
        unit.0,
        intake.0
    );
    held.fetch_optional(tx.db()).await?.ok_or(Code::NotFound)?;
    Ok(LockedIntake(find(tx, unit, intake).await?))
}

/// A file that is to be read, and the sheet that was chosen.
pub(super) struct Content {
    pub season_id: Uuid,
    pub content: Vec<u8>,
    pub sheet: Option<String>,
}

pub(super) async fn content(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<Option<Content>, ApiError> {
    let content = sqlx::query_as!(
        Content,
        "select i.season_id, b.content, i.sheet from intake i join blob b on b.unit_id = i.unit_id and b.sha256 = i.file_sha256
         where i.unit_id = $1 and i.intake_id = $2 and i.state = 'reading'",
        unit.0,
        intake.0
    );
    Ok(content.fetch_optional(tx.db()).await?)
}

/// Marks a list as applied.
pub(super) async fn apply(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    intake: &LockedIntake,
    made: &MadeByList,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, at, actor) = (by.unit()?, tx.logged_at(), tx.actor().to_owned());
    sqlx::query!(
        "update intake set state = 'applied', applied_at = $3, applied_by = $4, version = version + 1, log_seq = $5, made = $6
         where unit_id = $1 and intake_id = $2",
        unit.0,
        intake.0.intake_id,
        at,
        actor,
        log_seq,
        Json(made) as _
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Marks a list as put away.
pub(super) async fn discard(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    intake: &LockedIntake,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update intake set state = 'discarded', fault = null, version = version + 1, log_seq = $3
         where unit_id = $1 and intake_id = $2",
        by.unit()?.0,
        intake.0.intake_id,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Says whether a list is complete; the preview is made anew after it.
pub(super) async fn say_complete(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    intake: &LockedIntake,
    complete: bool,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update intake set complete = $3 where unit_id = $1 and intake_id = $2",
        by.unit()?.0,
        intake.0.intake_id,
        complete
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Stamps a change of an intake with its place in the log.
pub(super) async fn stamp(tx: &mut Tx, unit: UnitId, intake: &LockedIntake, log_seq: i64) -> Result<(), ApiError> {
    sqlx::query!(
        "update intake set log_seq = $3 where unit_id = $1 and intake_id = $2",
        unit.0,
        intake.0.intake_id,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Gives up lists whose reader vanished.
pub(super) async fn give_up(
    tx: &mut Tx,
    unit: UnitId,
    before: DateTime<Utc>,
    fault: &ParseFault,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update intake set state = 'unreadable', fault = $3, version = version + 1
         where unit_id = $1 and state = 'reading' and reading_since < $2",
        unit.0,
        before,
        Json(fault) as _
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
