//! Every query about the lists of a unit together: the newest first, and those of one kind.

use chrono::{DateTime, NaiveDate, Utc};
use sqlx::types::Json;
use uuid::Uuid;

use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{IntakeId, SeasonId, UnitId};
use crate::error::ApiError;
use crate::intake::columns::memory::ColumnMemory;
use crate::intake::counts::Counts;

/// A list on its way in, in short.
pub(in crate::intake) struct SummaryRecord {
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

pub(in crate::intake) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    since: Option<i64>,
    (after, limit): (Option<(DateTime<Utc>, IntakeId)>, i64),
) -> Result<Vec<SummaryRecord>, ApiError> {
    let (after_at, after_id) = after.map(|(at, id)| (at, id.0)).unzip();
    let rows = sqlx::query_as!(
        SummaryRecord,
        r#"select intake_id, season_id, kind, file_name, listed_on, state, counts as "counts: Json<Counts>", uploaded_at,
                  applied_at, version
           from intake
           where unit_id = $1 and ($2::timestamptz is null or (uploaded_at, intake_id) < ($2, $3))
             and ($5::bigint is null or log_seq > $5)
           order by uploaded_at desc, intake_id desc limit $4"#,
        unit.0,
        after_at,
        after_id,
        limit,
        since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The list of this kind that was applied last before this one: by the day for which it speaks, then by when it was applied.
pub(in crate::intake) async fn last_before(
    tx: &mut Tx,
    unit: UnitId,
    (season, kind): (SeasonId, &str),
    (intake, listed_on): (IntakeId, NaiveDate),
) -> Result<Option<IntakeId>, ApiError> {
    let found = sqlx::query_scalar!(
        "select intake_id from intake
         where unit_id = $1 and season_id = $2 and kind = $3 and state = 'applied' and intake_id <> $4 and listed_on <= $5
           and (select coalesce(o.applied_at, 'infinity') from intake o where o.unit_id = $1 and o.intake_id = $4) > applied_at
         order by listed_on desc, applied_at desc, intake_id desc limit 1",
        unit.0,
        season.0,
        kind,
        intake.0,
        listed_on
    );
    Ok(found.fetch_optional(tx.db()).await?.map(IntakeId))
}

/// A list that was applied, or waits for somebody.
pub(in crate::intake) struct KindRow {
    pub intake_id: Uuid,
    pub kind: String,
    pub file_name: String,
    pub state: String,
    pub listed_on: NaiveDate,
    pub uploaded_at: DateTime<Utc>,
    pub waiting_rows: i64,
}

/// The lists of a season that were applied or still wait for somebody, in the order of their days.
pub(in crate::intake) async fn of_season(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
) -> Result<Vec<KindRow>, ApiError> {
    let rows = sqlx::query_as!(
        KindRow,
        r#"select intake_id, kind, file_name, state, listed_on, uploaded_at,
                  (select count(*) from intake_row r
                   where r.unit_id = i.unit_id and r.intake_id = i.intake_id and r.needs_a_person and i.state = 'ready') as "waiting_rows!"
           from intake i
           where unit_id = $1 and season_id = $2 and state in ('applied', 'ready', 'needs_sheet', 'needs_columns')
           order by listed_on, uploaded_at, intake_id"#,
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// What is remembered of the columns of this kind's lists.
pub(in crate::intake) async fn memory(tx: &mut Tx, unit: UnitId, kind: &str) -> Result<Option<ColumnMemory>, ApiError> {
    let memory = sqlx::query_scalar!(
        r#"select memory as "memory: Json<ColumnMemory>" from list_memory where unit_id = $1 and kind = $2"#,
        unit.0,
        kind
    );
    Ok(memory.fetch_optional(tx.db()).await?.map(|memory| memory.0))
}

pub(in crate::intake) async fn remember(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    kind: &str,
    memory: &ColumnMemory,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into list_memory (unit_id, kind, memory, log_seq) values ($1, $2, $3, $4)
         on conflict (unit_id, kind) do update set memory = $3, log_seq = $4",
        by.unit()?.0,
        kind,
        Json(memory) as _,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
