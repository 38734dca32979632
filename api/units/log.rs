//! The unit's log: who did what, and when.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::find::UnitPath;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{LogRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::page;
use crate::error::{ApiError, Problems};

/// Which part of the log.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LogQuery {
    /// Only rows after this number: what is new since you last looked.
    #[garde(range(min = 0))]
    #[serde(default)]
    #[param(minimum = 0, default = 0)]
    after_seq: i64,
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

/// Something that a log row is about.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct LogSubject {
    /// What it is: a troop, a person, a field, ... New values may come.
    #[schema(max_length = 40, example = "troop")]
    pub kind: String,
    /// Which one.
    #[schema(max_length = 100)]
    pub id: String,
}

/// One row of the log.
#[derive(Debug, Serialize, ToSchema)]
pub struct LogEntry {
    /// Its number: without gaps, in the order in which things were done.
    pub seq: i64,
    /// When, by the season's clock.
    pub at: DateTime<Utc>,
    /// Who: `account:<id>`, `key:<id>` or `system`.
    #[schema(max_length = 60)]
    pub actor: String,
    /// What: the operation, or what the system noticed.
    #[schema(max_length = 80, example = "appoint_coordinator")]
    pub action: String,
    /// About what: ids and field names, never values.
    #[schema(max_items = 1000)]
    pub subjects: Vec<LogSubject>,
    /// The request.
    #[schema(max_length = 100)]
    pub request_id: String,
}

crate::page!(
    /// A part of the log.
    LogPage of LogEntry
);

/// Read the unit's log, the oldest first.
///
/// Who did what and when, with ids and field names only. It cannot be changed: each row is chained to the one before.
#[utoipa::path(tag = "units", params(UnitPath, LogQuery), extensions(("x-permission" = json!(LogRead::NAME))), responses((status = 200, description = "A part of the log.", body = LogPage), Problems))]
#[get("/v1/units/{unit_id}/log")]
pub async fn list_log(
    permit: Permit<LogRead>,
    request: HttpRequest,
    _path: Path<UnitPath>,
    query: Query<LogQuery>,
) -> Result<Answer<LogPage>, ApiError> {
    let LogQuery { after_seq, limit, cursor } = query.0;
    let filters = ("log", after_seq);
    let after: Option<i64> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let mut rows = sql::log(&mut tx, permit.unit()?, after.unwrap_or(after_seq), i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<LogEntry> = rows.into_iter().map(entry).collect::<Result<_, _>>()?;
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.seq, &filters)).transpose()?;
    let page = LogPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}

fn entry(row: sql::LogRow) -> Result<LogEntry, ApiError> {
    let sql::LogRow { seq, at, actor, action, subjects, request_id } = row;
    let subjects = serde_json::from_str(&subjects).map_err(|error| ApiError::internal(&error))?;
    Ok(LogEntry { seq, at, actor, action, subjects, request_id })
}
