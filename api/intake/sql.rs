//! Every query of intake.

use chrono::{DateTime, NaiveDate, Utc};
use sqlx::types::Json;
use uuid::Uuid;

use super::changes::Resolution;
use super::columns::plan::{ColumnChoices, ColumnPlan};
use super::parse::{ParseFault, ParsedTable};
use super::shown::{Counts, IntakeRow};
use crate::auth::permission::{IntakesApply, IntakesUpload, Permission};
use crate::auth::{Permit, Tx};
use crate::common::ids::{IntakeId, SeasonId, UnitId};
use crate::error::{ApiError, Code};

/// A list on its way in, without its rows.
pub(super) struct IntakeRecord {
    pub intake_id: Uuid,
    pub season_id: Uuid,
    pub kind: String,
    pub file_name: String,
    pub listed_on: NaiveDate,
    pub state: String,
    pub fault: Option<Json<ParseFault>>,
    pub parsed: Option<Json<ParsedTable>>,
    pub choices: Json<ColumnChoices>,
    pub columns: Option<Json<ColumnPlan>>,
    pub counts: Json<Counts>,
    pub uploaded_at: DateTime<Utc>,
    pub applied_at: Option<DateTime<Utc>>,
    /// An earlier list of the same bytes that was applied.
    pub same_file_as: Option<Uuid>,
    pub version: i64,
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
}

pub(super) async fn insert(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    new: &NewIntake<'_>,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, now, real_now, actor) = (by.unit()?, tx.logged_at(), tx.real_now(), tx.actor().to_owned());
    sqlx::query!(
        "insert into blob (unit_id, sha256, content, kept_at) values ($1, $2, $3, $4) on conflict do nothing",
        unit.0,
        new.sha256,
        new.content,
        now
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "insert into intake (unit_id, intake_id, season_id, kind, file_name, file_sha256, listed_on, state, reading_since,
             choices, counts, uploaded_at, uploaded_by, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, 'reading', $8, $9, $10, $11, $12, 1, $13)",
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
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<IntakeRecord, ApiError> {
    let row = sqlx::query_as!(
        IntakeRecord,
        r#"select i.intake_id, i.season_id, i.kind, i.file_name, i.listed_on, i.state, i.fault as "fault: Json<ParseFault>",
                  i.parsed as "parsed: Json<ParsedTable>", i.choices as "choices: Json<ColumnChoices>",
                  i.columns as "columns: Json<ColumnPlan>", i.counts as "counts: Json<Counts>", i.uploaded_at, i.applied_at,
                  (select o.intake_id from intake o
                   where o.unit_id = i.unit_id and o.file_sha256 = i.file_sha256 and o.kind = i.kind
                     and o.state = 'applied' and o.intake_id <> i.intake_id
                   order by o.applied_at limit 1) as "same_file_as?",
                  i.version
           from intake i where i.unit_id = $1 and i.intake_id = $2"#,
        unit.0,
        intake.0
    );
    Ok(row.fetch_optional(tx.db()).await?.ok_or(Code::NotFound)?)
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

pub(super) async fn content(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<Option<Vec<u8>>, ApiError> {
    let content = sqlx::query_scalar!(
        "select b.content from intake i join blob b on b.unit_id = i.unit_id and b.sha256 = i.file_sha256
         where i.unit_id = $1 and i.intake_id = $2 and i.state = 'reading'",
        unit.0,
        intake.0
    );
    Ok(content.fetch_optional(tx.db()).await?)
}

/// A list on its way in, in short.
pub(super) struct SummaryRecord {
    pub intake_id: Uuid,
    pub season_id: Uuid,
    pub kind: String,
    pub file_name: String,
    pub listed_on: NaiveDate,
    pub state: String,
    pub counts: Json<Counts>,
    pub uploaded_at: DateTime<Utc>,
    pub applied_at: Option<DateTime<Utc>>,
    pub version: i64,
}

pub(super) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    after: Option<(DateTime<Utc>, IntakeId)>,
    limit: i64,
) -> Result<Vec<SummaryRecord>, ApiError> {
    let (after_at, after_id) = after.map(|(at, id)| (at, id.0)).unzip();
    let rows = sqlx::query_as!(
        SummaryRecord,
        r#"select intake_id, season_id, kind, file_name, listed_on, state, counts as "counts: Json<Counts>", uploaded_at,
                  applied_at, version
           from intake
           where unit_id = $1 and ($2::timestamptz is null or (uploaded_at, intake_id) < ($2, $3))
           order by uploaded_at desc, intake_id desc limit $4"#,
        unit.0,
        after_at,
        after_id,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A row of a list as it is kept.
pub(super) struct RowRecord {
    pub row_number: i32,
    pub resolution: Option<Json<Resolution>>,
    pub preview: Json<IntakeRow>,
}

pub(super) async fn rows(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<Vec<RowRecord>, ApiError> {
    page_of_rows(tx, unit, intake, (None, 0), i64::MAX).await
}

/// Rows in the file's order; `waiting` asks for those that a person must decide about, or for the others.
pub(super) async fn page_of_rows(
    tx: &mut Tx,
    unit: UnitId,
    intake: IntakeId,
    (waiting, after): (Option<bool>, i32),
    limit: i64,
) -> Result<Vec<RowRecord>, ApiError> {
    let rows = sqlx::query_as!(
        RowRecord,
        r#"select row_number, resolution as "resolution: Json<Resolution>", preview as "preview!: Json<IntakeRow>"
           from intake_row
           where unit_id = $1 and intake_id = $2 and ($3::bool is null or needs_a_person = $3) and row_number > $4
           order by row_number limit $5"#,
        unit.0,
        intake.0,
        waiting,
        after,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// What a new preview leaves behind.
pub(super) struct NewPreview<'a> {
    pub state: &'a str,
    pub fault: Option<&'a ParseFault>,
    pub parsed: Option<&'a ParsedTable>,
    pub choices: &'a ColumnChoices,
    pub columns: Option<&'a ColumnPlan>,
    pub counts: &'a Counts,
    pub rows: &'a [(i32, Option<Resolution>, IntakeRow)],
}

/// Puts a new preview in the place of the old one; gives the new version.
pub(super) async fn keep_preview(
    tx: &mut Tx,
    unit: UnitId,
    intake: &LockedIntake,
    new: &NewPreview<'_>,
) -> Result<i64, ApiError> {
    let id = intake.0.intake_id;
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = $2", unit.0, id).execute(tx.db()).await?;
    let numbers: Vec<i32> = new.rows.iter().map(|(number, _, _)| *number).collect();
    let waiting: Vec<bool> = new.rows.iter().map(|(_, _, row)| row.needs_a_person).collect();
    let resolutions: Vec<Option<serde_json::Value>> = new
        .rows
        .iter()
        .map(|(_, resolution, _)| resolution.as_ref().map(json).transpose())
        .collect::<Result<_, _>>()?;
    let previews: Vec<serde_json::Value> = new.rows.iter().map(|(_, _, row)| json(row)).collect::<Result<_, _>>()?;
    sqlx::query!(
        "insert into intake_row (unit_id, intake_id, row_number, resolution, needs_a_person, preview)
         select $1, $2, of_row.number, of_row.resolution, of_row.waiting, of_row.preview
         from unnest($3::int[], $4::jsonb[], $5::bool[], $6::jsonb[]) as of_row (number, resolution, waiting, preview)",
        unit.0,
        id,
        &numbers,
        &resolutions as _,
        &waiting,
        &previews
    )
    .execute(tx.db())
    .await?;
    let version = sqlx::query_scalar!(
        "update intake set state = $3, fault = $4, parsed = $5, choices = $6, columns = $7, counts = $8, version = version + 1
         where unit_id = $1 and intake_id = $2 returning version",
        unit.0,
        id,
        new.state,
        new.fault.map(Json) as _,
        new.parsed.map(Json) as _,
        Json(new.choices) as _,
        new.columns.map(Json) as _,
        Json(new.counts) as _
    );
    Ok(version.fetch_one(tx.db()).await?)
}

fn json<T: serde::Serialize>(value: &T) -> Result<serde_json::Value, ApiError> {
    serde_json::to_value(value).map_err(|error| ApiError::internal(&error))
}

/// Marks a list as applied.
pub(super) async fn apply(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    intake: &LockedIntake,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, at, actor) = (by.unit()?, tx.logged_at(), tx.actor().to_owned());
    sqlx::query!(
        "update intake set state = 'applied', applied_at = $3, applied_by = $4, version = version + 1, log_seq = $5
         where unit_id = $1 and intake_id = $2",
        unit.0,
        intake.0.intake_id,
        at,
        actor,
        log_seq
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

/// Forgets what was read of a discarded list: it names people who have nothing to do with the unit.
pub(super) async fn forget_rows(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    intake: &LockedIntake,
) -> Result<(), ApiError> {
    let (unit, id) = (by.unit()?, intake.0.intake_id);
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = $2", unit.0, id).execute(tx.db()).await?;
    sqlx::query!("update intake set parsed = null where unit_id = $1 and intake_id = $2", unit.0, id)
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
