//! Add a milestone of the unit's own.

use actix_web::post;
use chrono::NaiveDate;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_season::SeasonPath;
use super::kind::MilestoneKind;
use super::list_milestones::Milestone;
use super::sql::milestones::{self, MilestoneRow};
use super::versions::room_for_milestones;
use super::{load, rules};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsChange};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::MilestoneId;
use crate::common::text;
use crate::error::{ApiError, Code, Problems};

/// A milestone to be added, dated or not.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "site_visit", "title": "Site visit", "kind": "event", "on_day": "2027-01-09", "at_local_time": "10:00"}))]
pub struct NewMilestone {
    /// The lasting name by which the policy can refer to it.
    #[garde(length(min = 1, max = 40), custom(text::code))]
    #[schema(min_length = 1, max_length = 40, pattern = "^[a-z][a-z0-9_]*$")]
    code: String,
    /// What people call it.
    #[garde(length(chars, min = 1, max = 120), custom(text::line))]
    #[schema(min_length = 1, max_length = 120)]
    title: String,
    /// What it is; left out, a deadline. It says whether its day counts to its end or from its beginning.
    #[garde(skip)]
    #[serde(default)]
    #[schema(required = false)]
    kind: MilestoneKind,
    /// Our day; without a time of day it means the end of that day, of an opening its beginning.
    #[garde(inner(custom(text::day)))]
    on_day: Option<NaiveDate>,
    /// Our local time of day, hours and minutes.
    #[garde(inner(custom(text::time_of_day)))]
    #[schema(min_length = 5, max_length = 5, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    at_local_time: Option<String>,
    /// Head office's own day, where it differs.
    #[garde(inner(custom(text::day)))]
    head_office_on_day: Option<NaiveDate>,
    /// Head office's local time of day.
    #[garde(inner(custom(text::time_of_day)))]
    #[schema(min_length = 5, max_length = 5, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    head_office_at_local_time: Option<String>,
    /// For something that comes back every week from our day on, such as a cut-off for restocks: its last day. A policy's
    /// gates cannot name such a milestone.
    #[garde(inner(custom(text::day)))]
    repeats_until_on: Option<NaiveDate>,
}

/// Add a milestone of the unit's own to a season.
///
/// What holds now may not reach its date, so every troop's standing is computed anew.
#[utoipa::path(tag = "seasons", params(SeasonPath), request_body = NewMilestone, extensions(("x-permission" = json!(SeasonsChange::NAME))), responses((status = 201, description = "The milestone.", body = Milestone), Problems))]
#[post("/v1/units/{unit_id}/seasons/{season_id}/milestones")]
pub async fn add_milestone(
    permit: Permit<SeasonsChange>,
    path: Path<SeasonPath>,
    body: Json<NewMilestone>,
) -> Result<Created<Milestone>, ApiError> {
    let new = body.0;
    let time = |sent: &Option<String>| sent.as_deref().and_then(text::local_time);
    let row = MilestoneRow {
        milestone_id: MilestoneId::new().0,
        code: new.code,
        title: new.title.trim().to_owned(),
        kind: new.kind.name().to_owned(),
        on_day: new.on_day,
        at_local_time: time(&new.at_local_time),
        head_office_on_day: new.head_office_on_day,
        head_office_at_local_time: time(&new.head_office_at_local_time),
        repeats_until_on: new.repeats_until_on,
        version: 1,
        log_seq: 0,
    };
    let faults = row.date_faults();
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = load::hold(&mut tx, unit, path.season_id).await?;
    tx.replay().await?;
    load::open(season.closed_at)?;
    let faults = rules::far_faults((season.starts_on, season.ends_on), row.days());
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let calendar = load::calendar_of(&mut tx, unit, &season).await?;
    room_for_milestones(milestones::all(&mut tx, unit, path.season_id).await?.len(), 1)?;
    let touched = Touched::season(path.season_id);
    change::hold(&mut tx, unit, &touched).await?;
    let log_seq = tx.seq().await?;
    milestones::insert(&mut tx, &permit, path.season_id, &row, log_seq).await?;
    tx.about("milestone", row.milestone_id);
    change::refresh(&mut tx, unit, &touched).await?;
    let address = format!("/v1/units/{unit}/seasons/{}/milestones", path.season_id);
    tx.commit_with(Created::new(&Milestone::new(row, &calendar, permit.now()))?.location(address)).await
}
