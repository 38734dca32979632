//! Replace the policy of a season.

use actix_web::put;
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::find::PolicyInForce;
use super::replace;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, PolicyChange};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path, Query};
use crate::common::etag::IfMatch;
use crate::error::{ApiError, Problems};
use crate::seasons::policy::Policy;
use crate::seasons::{self, SeasonPath};

/// A whole policy, as it was sent; its meaning is checked by the policy's own rules, in one go.
#[derive(Debug, Deserialize, Validate)]
#[serde(transparent)]
pub struct NewPolicy(#[garde(skip)] pub(super) Policy);

/// What was seen before.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Confirmation {
    /// The stamp of the preview that is confirmed by this; only where the change needs it.
    #[garde(length(min = 1, max = 64))]
    #[param(min_length = 1, max_length = 64)]
    confirm_stamp: Option<String>,
}

/// Replace a season's policy by a new one, as a whole.
///
/// Every fault is told at once, with its place. A policy that is in force as it is sent stays, without a new version. The version before is kept; every troop's standing is computed anew. A
/// policy that would take the appointment from more than the policy's share of the appointed troops is refused once, with
/// those troops and a stamp, and goes through when the stamp comes with it: look at `preview_policy` first.
#[utoipa::path(tag = "policies", params(SeasonPath, Confirmation), request_body = Policy, extensions(("x-permission" = json!(PolicyChange::NAME))), responses((status = 200, description = "The policy now in force.", body = PolicyInForce), Problems))]
#[put("/v1/units/{unit_id}/seasons/{season_id}/policy")]
pub async fn change_policy(
    permit: Permit<PolicyChange>,
    path: Path<SeasonPath>,
    query: Query<Confirmation>,
    body: Json<NewPolicy>,
    if_match: IfMatch,
) -> Result<Answer<PolicyInForce>, ApiError> {
    let NewPolicy(new) = body.0;
    let (mut tx, unit, season_id) = (permit.tx()?, permit.unit()?, path.season_id);
    let season = seasons::lock_for_policy(&mut tx, &permit, season_id).await?;
    let before = seasons::policy_in_force(&mut tx, unit, season_id).await?;
    if_match.require(before.version)?;
    season.open()?;
    let codes = seasons::milestone_codes(&mut tx, unit, season_id).await?;
    replace::check(&new, &codes, replace::in_body)?;
    if new == before.policy {
        // It is in force as it is sent: no version is made that says the same, and nobody reads of a change.
        let version = before.version;
        return Ok(Answer::new(&PolicyInForce::from(before))?.version(version));
    }
    let confirmed = query.0.confirm_stamp;
    let made = replace::replace(&mut tx, &permit, &season, &before, (new, confirmed.as_deref())).await?;
    let version = made.version;
    tx.commit_with(Answer::new(&PolicyInForce::from(made))?.version(version)).await
}
