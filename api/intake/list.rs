//! The lists that were uploaded, the newest first.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::counts::Counts;
use super::find::IntakesPath;
use super::kinds::ListKind;
use super::shown::{IntakeState, state_of};
use super::sql::lists::{self, SummaryRecord};
use crate::auth::Permit;
use crate::auth::permission::{IntakesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::etag::etag;
use crate::common::ids::{IntakeId, SeasonId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};

/// Which page of lists.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct IntakesQuery {
    /// What changed after this number of the unit's log.
    #[garde(dive)]
    #[param(value_type = Option<i64>, minimum = 0)]
    updated_since: Option<Since>,
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

/// An uploaded list in short.
#[derive(Debug, Serialize, ToSchema)]
pub struct IntakeSummary {
    /// The list.
    pub intake_id: IntakeId,
    /// The season that it speaks of.
    pub season_id: SeasonId,
    /// What it is about.
    pub kind: ListKind,
    /// The name of its file.
    #[schema(max_length = 200)]
    pub file_name: String,
    /// The day for which it speaks.
    pub listed_on: NaiveDate,
    /// When it was uploaded.
    pub uploaded_at: DateTime<Utc>,
    /// Where it is on its way.
    pub state: IntakeState,
    /// Its preview in figures.
    pub counts: Counts,
    /// When it was applied.
    #[schema(required = true)]
    pub applied_at: Option<DateTime<Utc>>,
    /// The stamp of its preview.
    #[schema(max_length = 30)]
    pub etag: String,
}

crate::page!(
    /// Uploaded lists, the newest first.
    IntakePage of IntakeSummary, since
);

/// List the uploaded lists, the newest first.
#[utoipa::path(tag = "intake", params(IntakesPath, IntakesQuery), extensions(("x-permission" = json!(IntakesRead::NAME))), responses((status = 200, description = "The lists.", body = IntakePage), Problems))]
#[get("/v1/units/{unit_id}/intakes")]
pub async fn list_intakes(
    permit: Permit<IntakesRead>,
    request: HttpRequest,
    _path: Path<IntakesPath>,
    query: Query<IntakesQuery>,
) -> Result<Answer<IntakePage>, ApiError> {
    let IntakesQuery { updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("intakes", unit, updated_since);
    let after: Option<(DateTime<Utc>, IntakeId)> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let mut rows = lists::list(&mut tx, unit, updated_since.map(Since::seq), (after, i64::from(limit) + 1)).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<IntakeSummary> = rows.into_iter().map(summary).collect::<Result<_, _>>()?;
    let last = items.last().filter(|_| more);
    let next_cursor = last.map(|row| page::encode(&(row.uploaded_at, row.intake_id), &filters)).transpose()?;
    let page = IntakePage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}

fn summary(row: SummaryRecord) -> Result<IntakeSummary, ApiError> {
    Ok(IntakeSummary {
        intake_id: IntakeId(row.intake_id),
        season_id: SeasonId(row.season_id),
        kind: ListKind::from_name(&row.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?,
        file_name: row.file_name,
        listed_on: row.listed_on,
        uploaded_at: row.uploaded_at,
        state: state_of(&row.state)?,
        counts: row.counts.0,
        applied_at: row.applied_at,
        etag: etag(row.version),
    })
}
