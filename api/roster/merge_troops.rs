//! Let one troop go into another one of the same season.

use actix_web::post;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::find_troop::{Troop, TroopPath};
use super::list_troop_contacts::TroopContact;
use super::merging::{self, Merged};
use super::regrouping::RegroupedCoordinator;
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsChange, Permission as _, TroopsRegroup};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::{Json, Path, Query};
use crate::common::ids::{AssignmentId, RegroupingId, SeasonId, TroopId};
use crate::common::stamp;
use crate::common::text;
use crate::error::{ApiError, Problems};
use crate::one_troop::EndedWithTroop;
use crate::seasons::policy::OutsideStep;

/// Into which troop, and who goes on there.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"into_troop_id": "0198c0de-0000-7000-8000-000000000103", "reason": "Both meet on Tuesdays, and one of them has five youths left.", "continuing": []}))]
pub struct TroopMerger {
    /// The troop that stays.
    #[garde(skip)]
    pub(super) into_troop_id: TroopId,
    /// Why.
    #[garde(length(chars, min = 1, max = 400), custom(text::line))]
    #[schema(min_length = 1, max_length = 400)]
    pub(super) reason: String,
    /// How many youths sell in the troop that stays from now on; when left out, those of both.
    #[garde(inner(range(min = 0, max = 500)))]
    #[schema(minimum = 0, maximum = 500)]
    pub(super) selling_youths: Option<i32>,
    /// The coordinators of the troop that goes who go on in the other one; the others' assignments end.
    #[garde(dive, length(max = 100))]
    #[serde(default)]
    #[schema(required = false, max_items = 100)]
    pub(super) continuing: Vec<ContinuingCoordinator>,
}

/// A coordinator who goes on in the troop that stays.
#[derive(Clone, Copy, Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ContinuingCoordinator {
    /// The assignment to the troop that goes.
    #[garde(skip)]
    pub(super) assignment_id: AssignmentId,
    /// Whether as the other troop's lead; a troop has one at a time.
    #[garde(skip)]
    #[serde(default)]
    #[schema(required = false)]
    pub(super) lead: bool,
}

/// What a merge does.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TroopMergePlan {
    /// The season.
    pub season_id: SeasonId,
    /// The troop that goes, as it is before.
    pub from: MergedTroop,
    /// The troop that stays, as it is before.
    pub into: MergedTroop,
    /// How many youths sell in the troop that stays from then on.
    #[schema(minimum = 0, maximum = 500)]
    pub selling_youths: i32,
    /// What becomes of each coordinator of the troop that goes.
    #[schema(max_items = 200)]
    pub coordinators: Vec<RegroupedCoordinator>,
    /// The contacts of the troop that goes, as contacts of the other one.
    #[schema(max_items = 200)]
    pub contacts: Vec<TroopContact>,
    /// What was given to the troop that goes and ends with it. Proofs of it (bank form) do not count for the other one.
    #[schema(max_items = 1000)]
    pub ended: Vec<EndedWithTroop>,
    /// What the policy wants repeated in head office's system (`list_outside_steps`); where it names nothing, head office
    /// still has both troops until somebody tells it.
    #[schema(max_items = 40)]
    pub outside_steps: Vec<OutsideStep>,
}

/// A troop of a merge.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct MergedTroop {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// How many youths sell.
    #[schema(minimum = 0, maximum = 500)]
    pub selling_youths: i32,
}

/// What a merge would do, as things stand.
#[derive(Debug, Serialize, ToSchema)]
pub struct TroopMergePreview {
    /// What it would do.
    pub plan: TroopMergePlan,
    /// The instant at which this stands.
    pub stands_at: DateTime<Utc>,
    /// What confirms exactly this: send the same body to `merge_troops` with it as `confirm_stamp`. It is another one as soon
    /// as anything told in the plan is.
    #[schema(min_length = 64, max_length = 64)]
    pub stamp: String,
}

/// Two troops that are one now.
#[derive(Debug, Serialize, ToSchema)]
pub struct TroopMerge {
    /// The merge.
    pub regrouping_id: RegroupingId,
    /// When.
    pub merged_at: DateTime<Utc>,
    /// What it did.
    pub plan: TroopMergePlan,
    /// The troop that went: it has a pointer to the other one, and no place in the season any more.
    pub from: Troop,
    /// The troop that stays.
    pub into: Troop,
}

/// What was seen before.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct MergeConfirmation {
    /// The stamp of the preview (`preview_troop_merge`) that is confirmed by this.
    #[garde(length(min = 1, max = 64))]
    #[param(
        min_length = 1,
        max_length = 64,
        example = "2bd806c97f0e00af1a1fc3328fa763a9269723c8db8fac4f93af71db186d6e90"
    )]
    confirm_stamp: String,
}

const STALE: &str = "This stamp is not the one of this merge as things stand: either another body was previewed, or something of the two troops has changed since. Preview it again (preview_troop_merge) with the body that is meant, look at what would end, and send the stamp that it gives then.";

/// Try letting one troop go into another one: what it would do. Nothing is changed.
///
/// It cannot be taken back afterwards, so `merge_troops` asks for the stamp that is given here.
#[utoipa::path(tag = "roster", params(TroopPath), request_body = TroopMerger, extensions(("x-permission" = json!(TroopsRegroup::NAME))), responses((status = 200, description = "What it would do.", body = TroopMergePreview), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/merge/preview")]
pub async fn preview_troop_merge(
    permit: Permit<TroopsRegroup>,
    path: Path<TroopPath>,
    body: Json<TroopMerger>,
) -> Result<Answer<TroopMergePreview>, ApiError> {
    permit.also::<AssignmentsChange>()?;
    let mut tx = permit.tx()?;
    let held = merging::hold(&mut tx, &permit, path.troop_id, &body.0).await?;
    tx.proven()?;
    // All of it is done, and then the transaction is dropped: a preview cannot differ from the act.
    let Merged { plan, stamp, .. } = merging::merge(&mut tx, &permit, &held, body.0).await?;
    let plan = plan.without_ids();
    Answer::new(&TroopMergePreview { plan, stands_at: tx.now(), stamp })
}

/// Let one troop go into another one of the current season. It cannot be taken back: preview it first.
///
/// The troop in the address has no place in the season from now on; answers as of an earlier instant still have it. Its
/// coordinators' assignments end; those who are named go on in the other troop by a new assignment, which is to be appointed
/// anew. Its contacts become the other troop's; its open proposals, waivers and overrides end. What is proven of a person
/// stays the person's; what was proven of the troop stays with its history and does not count for the other one. Its number
/// stays in use; change it (`change_troop`) to give the number to another troop.
#[utoipa::path(tag = "roster", params(TroopPath, MergeConfirmation), request_body = TroopMerger, extensions(("x-permission" = json!(TroopsRegroup::NAME))), responses((status = 200, description = "What was done.", body = TroopMerge), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/merge")]
pub async fn merge_troops(
    permit: Permit<TroopsRegroup>,
    path: Path<TroopPath>,
    query: Query<MergeConfirmation>,
    body: Json<TroopMerger>,
) -> Result<Answer<TroopMerge>, ApiError> {
    permit.also::<AssignmentsChange>()?;
    let mut tx = permit.tx()?;
    let held = merging::hold(&mut tx, &permit, path.troop_id, &body.0).await?;
    let merged = merging::merge(&mut tx, &permit, &held, body.0).await?;
    stamp::confirmed(&query.0.confirm_stamp, &merged.stamp, STALE)?;
    change::refresh(&mut tx, permit.unit()?, &held.touched).await?;
    let season = held.season.season_id;
    let answer = TroopMerge {
        regrouping_id: merged.regrouping_id,
        merged_at: tx.logged_at(),
        plan: merged.plan,
        from: Troop::shown(merged.from, season, permit.actor()),
        into: Troop::shown(merged.into, season, permit.actor()),
    };
    tx.commit_with(Answer::new(&answer)?).await
}
