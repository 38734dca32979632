//! Replace the policy of a season.

use actix_web::put;
use garde::Validate;
use serde::Deserialize;
use sqlx::types::Json as Jsonb;

use super::find_policy::PolicyInForce;
use super::find_season::SeasonPath;
use super::load::open;
use super::policy::{self, Policy};
use super::sql::{self, PolicyRow, milestones};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, PolicyChange};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::IfMatch;
use crate::error::{ApiError, Code, FieldError, Problems};

/// A whole policy, as it was sent; its meaning is checked by the policy's own rules, in one go.
#[derive(Debug, Deserialize, Validate)]
#[serde(transparent)]
pub struct NewPolicy(#[garde(skip)] Policy);

/// Replace a season's policy by a new one, as a whole.
///
/// Every fault is told at once, with its place. The version before is kept; every troop's standing is computed anew.
#[utoipa::path(tag = "seasons", params(SeasonPath), request_body = Policy, extensions(("x-permission" = json!(PolicyChange::NAME))), responses((status = 200, description = "The policy now in force.", body = PolicyInForce), Problems))]
#[put("/v1/units/{unit_id}/seasons/{season_id}/policy")]
pub async fn change_policy(
    permit: Permit<PolicyChange>,
    path: Path<SeasonPath>,
    body: Json<NewPolicy>,
    if_match: IfMatch,
) -> Result<Answer<PolicyInForce>, ApiError> {
    let NewPolicy(new) = body.0;
    let (unit, season) = (permit.unit()?, path.season_id);
    let mut tx = permit.tx()?;
    let closed_at = sql::lock_for_policy(&mut tx, &permit, season).await?.ok_or(Code::NotFound)?;
    let before = sql::policy(&mut tx, unit, season, None).await?;
    let before = before.ok_or_else(|| ApiError::broken("a season without a policy"))?;
    if_match.require(before.version)?;
    open(closed_at)?;
    let rows = milestones::all(&mut tx, unit, season).await?;
    let codes: Vec<&str> = rows.iter().map(|row| row.code.as_str()).collect();
    check(&new, &codes)?;
    let touched = Touched::season(season);
    change::hold(&mut tx, unit, &touched).await?;
    let log_seq = tx.seq().await?;
    let row = PolicyRow { version: before.version + 1, document: Jsonb(new), made_at: tx.logged_at() };
    sql::insert_policy(&mut tx, &permit, season, &row, log_seq).await?;
    tx.about("season", season);
    tx.about("policy_version", row.version);
    change::refresh(&mut tx, unit, &touched).await?;
    let version = row.version;
    tx.commit_with(Answer::new(&PolicyInForce::from(row))?.version(version)).await
}

fn check(new: &Policy, milestones: &[&str]) -> Result<(), ApiError> {
    let faults = policy::validate(new, milestones);
    if faults.is_empty() {
        return Ok(());
    }
    let errors = faults.into_iter().map(|fault| FieldError::at(fault.pointer, fault.code, fault.detail));
    Err(ApiError::new(Code::Invalid).errors(errors.collect()))
}
