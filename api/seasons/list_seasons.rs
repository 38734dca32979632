//! The seasons of a unit.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::create_season::SeasonsPath;
use super::find_season::Season;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::SeasonId;
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};

/// Which page of seasons.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SeasonsQuery {
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

crate::page!(
    /// Seasons, the youngest first.
    SeasonPage of Season, since
);

/// List the unit's seasons, the youngest first.
#[utoipa::path(tag = "seasons", params(SeasonsPath, SeasonsQuery), extensions(("x-permission" = json!(SeasonsRead::NAME))), responses((status = 200, description = "The seasons.", body = SeasonPage), Problems))]
#[get("/v1/units/{unit_id}/seasons")]
pub async fn list_seasons(
    permit: Permit<SeasonsRead>,
    request: HttpRequest,
    _path: Path<SeasonsPath>,
    query: Query<SeasonsQuery>,
) -> Result<Answer<SeasonPage>, ApiError> {
    let SeasonsQuery { updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("seasons", unit, updated_since);
    let after: Option<SeasonId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let mut rows = sql::list(&mut tx, unit, updated_since.map(Since::seq), (after, i64::from(limit) + 1)).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<Season> = rows.into_iter().map(Season::from).collect();
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.season_id, &filters)).transpose()?;
    let page = SeasonPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
