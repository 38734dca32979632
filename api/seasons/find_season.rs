//! One season.

use actix_web::get;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::{self, SeasonRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsRead};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::etag;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::{ApiError, Code, Problems};

/// Which season.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct SeasonPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The season.
    #[param(value_type = uuid::Uuid)]
    pub season_id: SeasonId,
}

/// A season.
#[derive(Debug, Serialize, ToSchema)]
pub struct Season {
    /// Which one.
    pub season_id: SeasonId,
    /// What people call it.
    #[schema(max_length = 80, example = "2026/27")]
    pub label: String,
    /// The IANA time zone in which its days and hours are meant.
    #[schema(max_length = 60, example = "America/Chicago")]
    pub time_zone: String,
    /// The currency of its money (ISO 4217).
    #[schema(max_length = 3, example = "USD")]
    pub currency: String,
    /// Its first day.
    pub starts_on: NaiveDate,
    /// Its last day.
    pub ends_on: NaiveDate,
    /// Whether it is the unit's current season, which is meant wherever no other is named.
    pub is_current: bool,
    /// When it was closed; null while it may be changed.
    #[schema(required = true)]
    pub closed_at: Option<DateTime<Utc>>,
    /// The version of these fields.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

impl From<SeasonRow> for Season {
    fn from(row: SeasonRow) -> Self {
        let SeasonRow { season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, version } =
            row;
        let (season_id, etag) = (SeasonId(season_id), etag(version));
        Self { season_id, label, time_zone, currency, starts_on, ends_on, is_current, closed_at, etag }
    }
}

/// Show a season.
#[utoipa::path(tag = "seasons", params(SeasonPath), extensions(("x-permission" = json!(SeasonsRead::NAME))), responses((status = 200, description = "The season.", body = Season), Problems))]
#[get("/v1/units/{unit_id}/seasons/{season_id}")]
pub async fn find_season(permit: Permit<SeasonsRead>, path: Path<SeasonPath>) -> Result<Answer<Season>, ApiError> {
    let mut tx = permit.tx()?;
    let row = sql::find(&mut tx, permit.unit()?, path.season_id).await?.ok_or(Code::NotFound)?;
    let version = row.version;
    Ok(Answer::new(&Season::from(row))?.version(version))
}
