//! The filed returns of a season.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::now;
use super::preview::ReturnsPath;
use super::sending::ReturnSending;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{ReturnId, SeasonId};
use crate::common::page;
use crate::error::{ApiError, Problems};
use crate::frozen::{self, Frozen, Kind};
use crate::seasons;

/// Which page of filed returns.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReturnsQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
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

/// A filed return, in a line.
#[derive(Debug, Serialize, ToSchema)]
pub struct FiledReturnLine {
    /// Which one.
    pub return_id: ReturnId,
    /// Its number.
    #[schema(minimum = 1)]
    pub number: i64,
    /// Its season.
    pub season_id: SeasonId,
    /// The digest of its figures.
    #[schema(min_length = 64, max_length = 64)]
    pub sha256: String,
    /// The instant at which it stands.
    pub stands_at: DateTime<Utc>,
    /// When it was filed.
    pub filed_at: DateTime<Utc>,
    /// By whom, as the log names them.
    #[schema(max_length = 60)]
    pub filed_by: String,
    /// When it was last sent, and what came back; null while nobody marked it as sent.
    #[schema(required = true)]
    pub last_sending: Option<ReturnSending>,
}

impl FiledReturnLine {
    fn new(frozen: Frozen, last_sending: Option<ReturnSending>) -> Self {
        Self {
            return_id: ReturnId(frozen.document_id),
            number: frozen.number,
            season_id: frozen.season,
            sha256: frozen.sha256,
            stands_at: frozen.stands_at,
            filed_at: frozen.made_at,
            filed_by: frozen.made_by,
            last_sending,
        }
    }
}

crate::page!(
    /// Filed returns.
    FiledReturnPage of FiledReturnLine
);

/// List the filed returns of a season, the newest first.
#[utoipa::path(tag = "returns", params(ReturnsPath, ReturnsQuery), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "Filed returns.", body = FiledReturnPage), Problems))]
#[get("/v1/units/{unit_id}/returns")]
pub async fn list_returns(
    permit: Permit<ReturnsRead>,
    request: HttpRequest,
    _path: Path<ReturnsPath>,
    query: Query<ReturnsQuery>,
) -> Result<Answer<FiledReturnPage>, ApiError> {
    let ReturnsQuery { season, limit, cursor } = query.0;
    let filters = ("returns", season);
    let below: Option<i64> = page::decode(cursor.as_deref(), &filters)?;
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let season = seasons::resolve(&mut tx, unit, season).await?;
    let of = (Kind::SeasonReturn, season.season_id);
    let mut rows = frozen::list(&mut tx, unit, of, below, i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let ids: Vec<Uuid> = rows.iter().map(|row| row.document_id).collect();
    let sendings = sql::newest(&mut tx, unit, &ids).await?;
    let sendings: Vec<ReturnSending> = sendings.into_iter().map(ReturnSending::try_from).collect::<Result<_, _>>()?;
    let items: Vec<FiledReturnLine> = rows
        .into_iter()
        .map(|row| {
            let sending = sendings.iter().find(|one| one.return_id.0 == row.document_id).cloned();
            FiledReturnLine::new(row, sending)
        })
        .collect();
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.number, &filters)).transpose()?;
    let page = FiledReturnPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
