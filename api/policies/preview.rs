//! Try a changed policy before it is saved.

use actix_web::post;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::change::NewPolicy;
use super::replace::{self, Trial};
use super::rules::TroopUnderPolicy;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, PolicyChange};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::SeasonId;
use crate::error::{ApiError, Problems};
use crate::seasons::policy::{Policy, RequirementKind, WaivableBy};
use crate::seasons::{self, SeasonPath};

/// What a changed policy would do, as things stand.
#[derive(Debug, Serialize, ToSchema)]
pub struct PolicyPreview {
    /// The season.
    pub season_id: SeasonId,
    /// The number of the policy in force, which was compared with.
    #[schema(minimum = 1)]
    pub version: i64,
    /// The instant at which this stands.
    pub stands_at: DateTime<Utc>,
    /// The troops whose state, gates or open requirements would change, by number; none that takes no part.
    #[schema(max_items = 10000)]
    pub changed: Vec<TroopUnderPolicy>,
    /// What the policy allows and one should look at twice before saving it.
    #[schema(max_items = 100)]
    pub cautions: Vec<PolicyCaution>,
    /// How many troops would stay as they are.
    #[schema(minimum = 0, maximum = 10000)]
    pub unchanged: usize,
    /// How many troops stand as appointed now.
    #[schema(minimum = 0, maximum = 10000)]
    pub appointed_now: usize,
    /// How many of them would not any more.
    #[schema(minimum = 0, maximum = 10000)]
    pub would_lose_appointment: usize,
    /// The share of the appointed troops, in percent, above which a change needs a confirmation: of the policy in force.
    #[schema(minimum = 1, maximum = 100)]
    pub mass_lapse_percent: u8,
    /// Whether saving this policy needs the stamp as confirmation.
    pub needs_confirmation: bool,
    /// What confirms exactly this change: send it as `confirm_stamp`. It is another one as soon as anything told here is.
    #[schema(min_length = 64, max_length = 64)]
    pub stamp: String,
}

/// What a policy allows and one should look at twice.
#[derive(Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct PolicyCaution {
    /// The code of the requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// Why to look at it, in plain words.
    #[schema(max_length = 600)]
    pub caution: String,
}

/// What to look at twice: a screening or a membership that may be let go.
fn cautions(policy: &Policy) -> Vec<PolicyCaution> {
    let waivable = policy.requirements.iter().filter(|asked| asked.who_may_waive() != WaivableBy::Never);
    let said = waivable.filter_map(|asked| {
        let why = match asked.kind {
            RequirementKind::Screening => {
                "A screening protects children, and head office's rule or the law may ask for it without exception"
            }
            RequirementKind::Membership => "Insurance may hang on the membership",
            RequirementKind::Plain => return None,
        };
        let caution = format!(
            "\"{}\" could be waived under this policy. {why}: look at the local rules before you allow it. Where it is left out, nobody may waive it.",
            asked.title
        );
        Some(PolicyCaution { requirement: asked.code.clone(), caution })
    });
    said.collect()
}

/// Try a changed policy: which troops' answers it would change, before it is saved. Nothing is changed.
///
/// Every fault of the policy is told at once, as when it is saved. The stamp ties a later confirmation to what was seen
/// here.
#[utoipa::path(tag = "policies", params(SeasonPath), request_body = Policy, extensions(("x-permission" = json!(PolicyChange::NAME))), responses((status = 200, description = "What the policy would do.", body = PolicyPreview), Problems))]
#[post("/v1/units/{unit_id}/seasons/{season_id}/policy/preview")]
pub async fn preview_policy(
    permit: Permit<PolicyChange>,
    path: Path<SeasonPath>,
    body: Json<NewPolicy>,
) -> Result<Answer<PolicyPreview>, ApiError> {
    let NewPolicy(new) = body.0;
    let (mut tx, unit, season_id) = (permit.tx()?, permit.unit()?, path.season_id);
    let season = seasons::hold(&mut tx, unit, season_id).await?;
    season.open()?;
    let before = seasons::policy_in_force(&mut tx, unit, season_id).await?;
    let codes = seasons::milestone_codes(&mut tx, unit, season_id).await?;
    replace::check(&new, &codes, replace::in_body)?;
    let trial = replace::try_out(&mut tx, &permit, &season, &before, &new).await?;
    let Trial { changed, troops, appointed, falling, needs_confirmation, stamp } = trial;
    Answer::new(&PolicyPreview {
        season_id,
        version: before.version,
        stands_at: tx.now(),
        cautions: cautions(&new),
        unchanged: troops.saturating_sub(changed.len()),
        changed,
        appointed_now: appointed,
        would_lose_appointment: falling,
        mass_lapse_percent: before.policy.mass_lapse_percent,
        needs_confirmation,
        stamp,
    })
}

#[cfg(test)]
mod tests {
    use super::cautions;
    use crate::seasons::policy::{WaivableBy, shipped_policy};

    /// By hand: the shipped policy lets nobody waive either kind; each that is changed is named.
    #[test]
    fn a_screening_or_membership_that_may_be_waived_is_pointed_out() {
        let mut policy = shipped_policy().unwrap();
        assert_eq!(cautions(&policy), []);
        for asked in &mut policy.requirements {
            asked.waivable_by = Some(WaivableBy::Manager);
        }
        let told: Vec<String> = cautions(&policy).into_iter().map(|one| one.requirement).collect();
        assert_eq!(told, ["membership", "screening"]);
    }
}
