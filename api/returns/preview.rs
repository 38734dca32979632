//! What a return would say now.

use actix_web::get;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::changes::{self, ReturnChange};
use super::document::{ReturnDocument, ReturnName};
use super::now;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{ReturnId, SeasonId, UnitId};
use crate::error::{ApiError, Problems};
use crate::frozen::{self, Kind};
use crate::seasons;

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ReturnsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Of which season.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReturnSeasonQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    pub(super) season: Option<SeasonId>,
}

/// What a return would say now.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReturnPreview {
    /// Send it when you file this return: if anything changed meanwhile, nothing is filed and you are told what.
    #[schema(max_length = 60, example = "2210778000000000.3f0a4c61d2b7e8895a6b7c8d9e0f1a2b")]
    pub stamp: String,
    /// When the return is due; null while that milestone has no date.
    #[schema(required = true)]
    pub due_at: Option<DateTime<Utc>>,
    /// The newest filed return of this season; null if there is none.
    #[schema(required = true)]
    pub last_return_id: Option<ReturnId>,
    /// Its number; null if there is none.
    #[schema(required = true, minimum = 1)]
    pub last_number: Option<i64>,
    /// Whether a new return is owed: none was filed, something changed since, or head office sent the last one back.
    pub new_return_owed: bool,
    /// What changed since the newest filed return.
    #[schema(max_items = 5000)]
    pub changes: Vec<ReturnChange>,
    /// What would be filed, but names.
    pub document: ReturnDocument,
    /// The names of the people in it.
    #[schema(max_items = 5000)]
    pub names: Vec<ReturnName>,
}

/// Preview the season return: what it would say now, what changed since the last one, and a stamp to file it by.
#[utoipa::path(tag = "returns", params(ReturnsPath, ReturnSeasonQuery), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "What would be filed.", body = ReturnPreview), Problems))]
#[get("/v1/units/{unit_id}/return-preview")]
pub async fn preview_return(
    permit: Permit<ReturnsRead>,
    _path: Path<ReturnsPath>,
    query: Query<ReturnSeasonQuery>,
) -> Result<Answer<ReturnPreview>, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let season = seasons::resolve(&mut tx, unit, query.0.season).await?;
    let due_at = seasons::calendar_of(&mut tx, unit, &season).await?.instant("return_due");
    let document = now::document(&mut tx, unit, &season, None).await?;
    let names = now::names(&mut tx, unit, &document).await?;
    let last = frozen::list(&mut tx, unit, (Kind::SeasonReturn, season.season_id), None, 1).await?.pop();
    let changes = match &last {
        Some(last) => {
            let found = changes::since(last, &document)?;
            changes::named(&mut tx, unit, found, last, &document).await?
        }
        None => Vec::new(),
    };
    let sent_back = match &last {
        Some(last) => changes::sent_back(&mut tx, unit, last).await?,
        None => false,
    };
    let preview = ReturnPreview {
        stamp: now::stamp(&document)?,
        due_at,
        last_return_id: last.as_ref().map(|last| ReturnId(last.document_id)),
        last_number: last.as_ref().map(|last| last.number),
        new_return_owed: last.is_none() || !changes.is_empty() || sent_back,
        changes,
        document,
        names: now::sent(names.into_iter().map(|(person, name)| (person, Some(name))).collect()),
    };
    // The stamp of a second ago files the same return.
    Ok(Answer::new(&preview)?.tag_without(&["stamp", "stands_at"]))
}
