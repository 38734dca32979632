//! Copy the policy of an earlier season.

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::find::PolicyInForce;
use super::replace;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, PolicyChange, SeasonsChange};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::SeasonId;
use crate::common::short_text::CodeInList;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons::{self, SeasonPath};

/// Whose policy to copy.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"from_season_id": "0198c0de-0000-7000-8000-000000000011"}))]
pub struct PolicyCopy {
    /// The season whose policy is copied, as it is in force there now.
    #[garde(skip)]
    from_season_id: SeasonId,
    /// The stamp of the refusal or preview that is confirmed by this; only where the change needs it.
    #[garde(length(min = 1, max = 64))]
    #[schema(min_length = 1, max_length = 64)]
    confirm_stamp: Option<String>,
}

/// A copied policy.
#[derive(Debug, Serialize, ToSchema)]
pub struct CopiedPolicy {
    /// The policy now in force.
    pub policy: PolicyInForce,
    /// The codes of the milestones that the other season has and this one had not: added, undated.
    #[schema(max_items = 100, value_type = Vec<CodeInList>)]
    pub added_milestones: Vec<String>,
}

/// Copy the policy of another season of the unit into this one, as its next version, with the milestones that it lacks.
///
/// Milestones that this season has stay as they are; those that it lacks are added undated and come once. The same brake
/// holds as for any other change; the version before is kept.
#[utoipa::path(tag = "policies", params(SeasonPath), request_body = PolicyCopy, extensions(("x-permission" = json!(PolicyChange::NAME))), responses((status = 200, description = "The policy now in force.", body = CopiedPolicy), Problems))]
#[post("/v1/units/{unit_id}/seasons/{season_id}/policy/copy")]
pub async fn copy_policy(
    permit: Permit<PolicyChange>,
    path: Path<SeasonPath>,
    body: Json<PolicyCopy>,
) -> Result<Answer<CopiedPolicy>, ApiError> {
    let PolicyCopy { from_season_id: from, confirm_stamp } = body.0;
    let (mut tx, unit, season_id) = (permit.tx()?, permit.unit()?, path.season_id);
    let season = seasons::lock_for_policy(&mut tx, &permit, season_id).await?;
    if !seasons::exists(&mut tx, unit, from).await? {
        let detail = "the id of a season of this unit (list_seasons)";
        return Err(ApiError::new(Code::UnknownReference).errors(vec![fault("unknown", detail)]));
    }
    tx.replay().await?;
    season.open()?;
    if from == season_id {
        let detail = "another season: a policy is not copied onto itself";
        return Err(ApiError::new(Code::Invalid).errors(vec![fault("same_season", detail)]));
    }
    let before = seasons::policy_in_force(&mut tx, unit, season_id).await?;
    let new = seasons::policy_in_force(&mut tx, unit, from).await?.policy;
    let missing = seasons::missing_milestones(&mut tx, unit, (from, season_id)).await?;
    if !missing.is_empty() {
        permit.also::<SeasonsChange>()?;
    }
    let mut known = seasons::milestone_codes(&mut tx, unit, season_id).await?;
    known.extend(missing.iter().cloned());
    replace::check(&new, &known, |wrong| {
        fault(wrong.code, &format!("The policy there does not fit here, at {}: {}", wrong.pointer, wrong.detail))
    })?;
    let made = replace::replace(&mut tx, &permit, &season, &before, (new, confirm_stamp.as_deref())).await?;
    seasons::copy_milestones(&mut tx, &permit, (from, season_id), &missing).await?;
    let copied = CopiedPolicy { policy: PolicyInForce::from(made), added_milestones: missing };
    tx.commit_with(Answer::new(&copied)?).await
}

fn fault(code: &str, detail: &str) -> FieldError {
    FieldError::at("/from_season_id", code, detail)
}
