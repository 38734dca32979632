//! End a role.

use actix_web::post;
use serde::Deserialize;
use utoipa::IntoParams;

use super::give_role::{Grant, UnitRole};
use super::rules::grant_is_over;
use super::sql::grants::{self, GrantRow};
use crate::accounts;
use crate::auth::permission::{GrantsChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{GrantId, UnitId};
use crate::error::{ApiError, Code, Problems};

/// Which grant.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct GrantPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The grant.
    #[param(value_type = uuid::Uuid)]
    grant_id: GrantId,
}

/// End a role: it is gone with the next request, and so is what the person's keys could do by it.
///
/// The last unit manager's role cannot be ended: somebody else who can sign in must hold it without an end.
#[utoipa::path(tag = "roster", params(GrantPath), extensions(("x-permission" = json!(GrantsChange::NAME))), responses((status = 200, description = "The grant, ended.", body = Grant), Problems))]
#[post("/v1/units/{unit_id}/grants/{grant_id}/end")]
pub async fn end_grant(permit: Permit<GrantsChange>, path: Path<GrantPath>) -> Result<Answer<Grant>, ApiError> {
    let (unit, grant) = (permit.unit()?, path.grant_id);
    let mut tx = permit.tx()?;
    grants::lock_with_its_role(&mut tx, &permit, grant).await?;
    let mut row = grants::find(&mut tx, unit, grant).await?;
    tx.replay().await?;
    let now = permit.now();
    if grant_is_over(row.ended_at, row.until_at, now) {
        return Err(Code::AlreadyEnded.into());
    }
    if row.role == UnitRole::UnitManager.name() && !somebody_else_manages(&mut tx, unit, &row).await? {
        let detail = "This would leave the unit without a unit manager who can sign in. Give the role, without an end, to somebody else who has accepted an invitation; then end this one.";
        return Err(ApiError::new(Code::LastUnitManager).detail(detail));
    }
    let log_seq = tx.seq().await?;
    let at = tx.logged_at();
    grants::end(&mut tx, &permit, grant, at, log_seq).await?;
    tx.about("grant", grant);
    tx.about("person", row.person_id);
    row.ended_at = Some(at);
    tx.commit_with(Answer::new(&Grant::try_from(row)?)?).await
}

/// Whether the unit still has a manager after this grant: somebody who holds the role now, without an end, and can sign
/// in. A grant that has not begun yet is no manager's either, so it may always be ended.
async fn somebody_else_manages(tx: &mut Tx, unit: UnitId, row: &GrantRow) -> Result<bool, ApiError> {
    let now = tx.now();
    for person in grants::other_lasting_holders(tx, unit, row, now).await? {
        if accounts::has_account(tx, unit, person).await? {
            return Ok(true);
        }
    }
    Ok(false)
}
