//! Take away a milestone that was added by mistake.

use actix_web::delete;

use super::calendar::SHIPPED_MILESTONES;
use super::change_milestone::MilestonePath;
use super::list_milestones::Milestone;
use super::load;
use super::policy::Policy;
use super::sql::{self, milestones};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsChange};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::IfMatch;
use crate::error::{ApiError, Code, FieldError, Problems};

/// Take away a milestone that was added by mistake.
///
/// Refused while a gate of the policy names it, or of an earlier version of the policy, by which it is known how things stood
/// then. A milestone that every season has from its beginning stays: one without a day says nothing. The answer is the
/// milestone as it was; the unit's log keeps that there was one.
#[utoipa::path(tag = "seasons", params(MilestonePath), extensions(("x-permission" = json!(SeasonsChange::NAME))), responses((status = 200, description = "The milestone as it was; there is none any more.", body = Milestone), Problems))]
#[delete("/v1/units/{unit_id}/seasons/{season_id}/milestones/{milestone_id}")]
pub async fn remove_milestone(
    permit: Permit<SeasonsChange>,
    path: Path<MilestonePath>,
    if_match: IfMatch,
) -> Result<Answer<Milestone>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = load::hold(&mut tx, unit, path.season_id).await?;
    let row = milestones::lock(&mut tx, &permit, path.season_id, path.milestone_id).await?;
    if_match.require(row.version)?;
    load::open(season.closed_at)?;
    if SHIPPED_MILESTONES.iter().any(|(code, ..)| *code == row.code) {
        let detail = "Every season has this milestone. Where it is not needed, take its day away instead (change_milestone with \"on_day\": null).";
        return Err(ApiError::new(Code::Conflict).detail(detail));
    }
    let versions = sql::policies(&mut tx, unit, path.season_id).await?;
    let newest = versions.iter().map(|row| row.version).max();
    let named: Vec<FieldError> = versions
        .iter()
        .flat_map(|one| names(&one.document, &row.code, one.version, Some(one.version) == newest))
        .collect();
    if !named.is_empty() {
        let detail = "The policy names this milestone, so it stays; the list below says where. Change the policy first, if it is in force there; a milestone that an earlier version named stays, without a day (change_milestone with \"on_day\": null).";
        return Err(ApiError::new(Code::StillUsed).detail(detail).errors(named));
    }
    let touched = Touched::season(path.season_id);
    change::hold(&mut tx, unit, &touched).await?;
    tx.seq().await?;
    let calendar = load::calendar_of(&mut tx, unit, &season).await?;
    milestones::delete(&mut tx, &permit, path.milestone_id).await?;
    tx.about("milestone", path.milestone_id);
    change::refresh(&mut tx, unit, &touched).await?;
    tx.commit_with(Answer::new(&Milestone::new(row, &calendar, permit.now()))?).await
}

/// The rules of a policy that name a milestone, each in a sentence.
fn names(policy: &Policy, code: &str, version: i64, in_force: bool) -> Vec<FieldError> {
    let rules = policy.gates.iter().flat_map(|gate| gate.rules.iter().enumerate().map(move |rule| (gate.gate, rule)));
    let named =
        rules.filter(|(_, (_, rule))| [&rule.from, &rule.until].into_iter().flatten().any(|named| named == code));
    let said = named.map(|(gate, (place, _))| {
        let which =
            if in_force { "The policy in force".to_owned() } else { format!("Version {version} of the policy") };
        let gate = gate.name();
        FieldError::matter(
            "gate_rule",
            format!("{which} names it in rule {} of the gate \"{gate}\".", place.saturating_add(1)),
        )
    });
    said.collect()
}
