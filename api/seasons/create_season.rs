//! Make a season.

use actix_web::post;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::Deserialize;
use sqlx::types::Json as Jsonb;
use utoipa::{IntoParams, ToSchema};

use super::find_season::Season;
use super::policy::shipped_policy;
use super::rules;
use super::sql::{self, PolicyRow, SeasonRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsChange};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{SeasonId, UnitId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};

/// Which unit's seasons.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct SeasonsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// A season to be made.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"label": "2027/28", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2027-09-01", "ends_on": "2028-05-31"}))]
pub struct NewSeason {
    /// What people call it.
    #[garde(length(chars, min = 1, max = 80), custom(text::line))]
    #[schema(min_length = 1, max_length = 80)]
    label: String,
    /// The IANA time zone in which its days and hours are meant.
    #[garde(length(min = 1, max = 60))]
    #[schema(min_length = 1, max_length = 60)]
    time_zone: String,
    /// The currency of its money (ISO 4217). It stays for the whole season.
    #[garde(skip)]
    #[schema(min_length = 3, max_length = 3, pattern = "^[A-Z]{3}$")]
    currency: String,
    /// Its first day: evidence from before it is not of this season.
    #[garde(custom(text::day))]
    starts_on: NaiveDate,
    /// Its last day.
    #[garde(custom(text::day))]
    ends_on: NaiveDate,
    /// True says that it is meant to share days with another season of the unit.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    overlaps: bool,
}

impl NewSeason {
    fn faults(&self, now: DateTime<Utc>) -> Vec<FieldError> {
        let faults = [
            rules::zone_fault(&self.time_zone),
            rules::currency_fault(&self.currency),
            rules::days_fault(self.starts_on, self.ends_on),
            rules::over_fault(rules::zone(&self.time_zone), self.ends_on, now),
        ];
        faults.into_iter().flatten().collect()
    }
}

/// Asks about seasons that would share days.
pub(super) fn apart(shared: Vec<FieldError>) -> Result<(), ApiError> {
    if shared.is_empty() { Ok(()) } else { Err(ApiError::new(Code::SeasonOverlaps).errors(shared)) }
}

/// Make a season, with the shipped policy and the shipped milestones, undated.
///
/// The unit's first season becomes its current one; a later one does when you change it so. Nothing is copied from an
/// earlier season.
#[utoipa::path(tag = "seasons", params(SeasonsPath), request_body = NewSeason, extensions(("x-permission" = json!(SeasonsChange::NAME))), responses((status = 201, description = "The season.", body = Season), Problems))]
#[post("/v1/units/{unit_id}/seasons")]
pub async fn create_season(
    permit: Permit<SeasonsChange>,
    _path: Path<SeasonsPath>,
    body: Json<NewSeason>,
) -> Result<Created<Season>, ApiError> {
    let new = body.0;
    let faults = new.faults(permit.now());
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    tx.replay().await?;
    if !new.overlaps {
        let seasons = sql::lock_all(&mut tx, &permit).await?;
        let others = seasons.iter().map(|row| (&*row.label, row.starts_on, row.ends_on));
        apart(rules::shared_days((new.starts_on, new.ends_on), others))?;
    }
    let log_seq = tx.seq().await?;
    let season = SeasonId::new();
    let mut row = SeasonRow {
        season_id: season.0,
        label: new.label.trim().to_owned(),
        time_zone: new.time_zone,
        currency: new.currency,
        starts_on: new.starts_on,
        ends_on: new.ends_on,
        is_current: false,
        closed_at: None,
        version: 1,
    };
    row.is_current = sql::insert(&mut tx, &permit, &row, log_seq).await?;
    sql::insert_shipped_milestones(&mut tx, &permit, season, log_seq).await?;
    let document = shipped_policy().map_err(|error| ApiError::internal(&error))?;
    let policy = PolicyRow { version: 1, document: Jsonb(document), made_at: tx.logged_at() };
    sql::insert_policy(&mut tx, &permit, season, &policy, log_seq).await?;
    tx.about("season", season);
    let address = format!("/v1/units/{unit}/seasons/{season}");
    tx.commit_with(Created::new(&Season::from(row))?.version(1).location(address)).await
}
