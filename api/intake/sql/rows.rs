//! Every query of the rows of a list, and of the preview that they make up.

use sqlx::types::{Json, Uuid};

use super::LockedIntake;
use crate::auth::permission::IntakesUpload;
use crate::auth::{Permit, Tx};
use crate::common::ids::{IntakeId, UnitId};
use crate::error::ApiError;
use crate::intake::changes::Resolution;
use crate::intake::columns::plan::{ColumnChoices, ColumnPlan};
use crate::intake::counts::Counts;
use crate::intake::parse::{ParseFault, ParsedTable};
use crate::intake::shown::{AbsentOne, IntakeRow};

/// A row of a list as it is kept.
pub(in crate::intake) struct RowRecord {
    pub row_number: i32,
    pub resolution: Option<Json<Resolution>>,
    pub preview: Json<IntakeRow>,
}

pub(in crate::intake) async fn rows(tx: &mut Tx, unit: UnitId, intake: IntakeId) -> Result<Vec<RowRecord>, ApiError> {
    page_of_rows(tx, unit, intake, (None, 0), i64::MAX).await
}

/// Rows in the file's order; `waiting` asks for those that a person must decide about, or for the others.
pub(in crate::intake) async fn page_of_rows(
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

/// How many rows are sent in one statement.
const ROWS_AT_ONCE: usize = 1_000;

/// What a new preview leaves behind.
pub(in crate::intake) struct NewPreview<'a> {
    pub state: &'a str,
    pub fault: Option<&'a ParseFault>,
    /// What was read of the file, where it was read just now; what is kept of an earlier reading stays.
    pub parsed: Option<&'a ParsedTable>,
    pub choices: &'a ColumnChoices,
    pub columns: Option<&'a ColumnPlan>,
    pub counts: &'a Counts,
    pub absences: &'a [AbsentOne],
    pub sheets: &'a [String],
    /// Each with what a person said about it.
    pub rows: &'a [(&'a IntakeRow, Option<Resolution>)],
}

/// Puts a new preview in the place of the old one; gives the new version.
pub(in crate::intake) async fn keep_preview(
    tx: &mut Tx,
    unit: UnitId,
    intake: &LockedIntake,
    new: &NewPreview<'_>,
) -> Result<i64, ApiError> {
    let id = intake.0.intake_id;
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = $2", unit.0, id).execute(tx.db()).await?;
    // A part at a time: a long list is not held in memory once more as it is sent. While the database keeps one part, the
    // next is written out.
    let mut parts = new.rows.chunks(ROWS_AT_ONCE).map(Part::of);
    let mut next = parts.next().transpose()?;
    while let Some(part) = next {
        let (kept, following) = tokio::join!(part.keep(tx, unit, id), async { parts.next().transpose() });
        kept?;
        next = following?;
    }
    let version = sqlx::query_scalar!(
        "update intake set state = $3, fault = $4, parsed = coalesce($5, parsed), choices = $6, columns = $7, counts = $8, absences = $9,
             sheets = $10, version = version + 1
         where unit_id = $1 and intake_id = $2 returning version",
        unit.0,
        id,
        new.state,
        new.fault.map(Json) as _,
        new.parsed.map(Json) as _,
        Json(new.choices) as _,
        new.columns.map(Json) as _,
        Json(new.counts) as _,
        Json(new.absences) as _,
        Json(new.sheets) as _
    );
    Ok(version.fetch_one(tx.db()).await?)
}

/// A part of the rows as it is sent, column by column.
struct Part {
    numbers: Vec<i32>,
    waiting: Vec<bool>,
    resolutions: Vec<Option<Json<Resolution>>>,
    previews: Vec<String>,
}

impl Part {
    fn of(rows: &[(&IntakeRow, Option<Resolution>)]) -> Result<Self, ApiError> {
        let number = |row: &IntakeRow| i32::try_from(row.row_number).unwrap_or(i32::MAX);
        let json = |row: &IntakeRow| serde_json::to_string(row).map_err(|error| ApiError::internal(&error));
        Ok(Self {
            numbers: rows.iter().map(|(row, _)| number(row)).collect(),
            waiting: rows.iter().map(|(row, _)| row.needs_a_person).collect(),
            resolutions: rows.iter().map(|(_, said)| said.map(Json)).collect(),
            previews: rows.iter().map(|(row, _)| json(row)).collect::<Result<_, _>>()?,
        })
    }

    async fn keep(&self, tx: &mut Tx, unit: UnitId, intake: Uuid) -> Result<(), ApiError> {
        let Self { numbers, waiting, resolutions, previews } = self;
        let insert = sqlx::query!(
            "insert into intake_row (unit_id, intake_id, row_number, resolution, needs_a_person, preview)
             select $1, $2, of_row.number, of_row.resolution, of_row.waiting, of_row.preview::json
             from unnest($3::int[], $4::jsonb[], $5::bool[], $6::text[]) as of_row (number, resolution, waiting, preview)",
            unit.0,
            intake,
            numbers,
            resolutions as _,
            waiting,
            previews
        );
        insert.execute(tx.db()).await?;
        Ok(())
    }
}

/// Forgets what was read of a discarded list: it names people who have nothing to do with the unit.
pub(in crate::intake) async fn forget_rows(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    intake: &LockedIntake,
) -> Result<(), ApiError> {
    let (unit, id) = (by.unit()?, intake.0.intake_id);
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = $2", unit.0, id).execute(tx.db()).await?;
    sqlx::query!("update intake set parsed = null, absences = '[]' where unit_id = $1 and intake_id = $2", unit.0, id)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Puts a list back to be read, of the sheet that was chosen; what was read and decided before goes.
pub(in crate::intake) async fn read_again(
    tx: &mut Tx,
    by: &Permit<IntakesUpload>,
    intake: &LockedIntake,
    sheet: &str,
) -> Result<(), ApiError> {
    let (unit, id, since) = (by.unit()?, intake.0.intake_id, tx.real_now());
    sqlx::query!("delete from intake_row where unit_id = $1 and intake_id = $2", unit.0, id).execute(tx.db()).await?;
    sqlx::query!(
        "update intake set state = 'reading', reading_since = $3, sheet = $4, fault = null, parsed = null, columns = null,
             choices = $5, counts = $6, absences = '[]', version = version + 1
         where unit_id = $1 and intake_id = $2",
        unit.0,
        id,
        since,
        sheet,
        Json(ColumnChoices::default()) as _,
        Json(Counts::default()) as _
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
