//! The rows of an uploaded list.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::find::IntakePath;
use super::mask::{RowMask, Sight, masked};
use super::shown::IntakeRow;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{IntakesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::SeasonId;
use crate::common::page;
use crate::error::{ApiError, Problems};
use crate::seasons;

/// Which rows.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct IntakeRowsQuery {
    /// Only rows that wait for a person (true), or only the others (false).
    #[garde(skip)]
    needs_a_person: Option<bool>,
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

crate::page!(
    /// Rows of an uploaded list, in the file's order.
    IntakeRowPage of IntakeRow
);

/// List the rows of an uploaded list: whom each is taken for, why, what it changes, and what is wrong with it.
///
/// What a row says of a screening is shown to those who may read screenings, where a troop meets to those who may read
/// people; to others, such as a key without that permission, it reads as withheld.
#[utoipa::path(tag = "intake", params(IntakePath, IntakeRowsQuery), extensions(("x-permission" = json!(IntakesRead::NAME))), responses((status = 200, description = "The rows.", body = IntakeRowPage), Problems))]
#[get("/v1/units/{unit_id}/intakes/{intake_id}/rows")]
pub async fn list_intake_rows(
    permit: Permit<IntakesRead>,
    request: HttpRequest,
    path: Path<IntakePath>,
    query: Query<IntakeRowsQuery>,
) -> Result<Answer<IntakeRowPage>, ApiError> {
    let IntakeRowsQuery { needs_a_person, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("intake_rows", path.intake_id, needs_a_person);
    let after: Option<i32> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let intake = sql::find(&mut tx, unit, path.intake_id).await?;
    let sight = Sight::of(&permit);
    let masks = if sight.is_whole() {
        None
    } else {
        let policy = seasons::policy_of(&mut tx, unit, SeasonId(intake.season_id)).await?;
        Some(RowMask::new(sight, &policy, intake.columns.as_ref().map(|columns| &columns.0)))
    };
    let wanted = (needs_a_person, after.unwrap_or(0));
    let mut rows = sql::rows::page_of_rows(&mut tx, unit, path.intake_id, wanted, i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let last = rows.last().filter(|_| more).map(|row| row.row_number);
    let next_cursor = last.map(|number| page::encode(&number, &filters)).transpose()?;
    let page = IntakeRowPage {
        items: rows.into_iter().map(|row| masked(row.preview.0, masks.as_ref())).collect(),
        next_cursor,
    };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
