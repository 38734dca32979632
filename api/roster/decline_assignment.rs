//! Decline an assignment that a list proposed.

use actix_web::post;

use super::confirm_assignment::{AssignmentPath, Held, finish, hold, proposed};
use super::list_assignments::Assignment;
use super::sql::assignments;
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Problems};

/// Decline an assignment that a list proposed. The same list does not propose it again this season.
#[utoipa::path(tag = "roster", params(AssignmentPath), extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 200, description = "The assignment, declined.", body = Assignment), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/decline")]
pub async fn decline_assignment(
    permit: Permit<AssignmentsChange>,
    path: Path<AssignmentPath>,
) -> Result<Answer<Assignment>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let Held { mut row, season, touched } = hold(&mut tx, &permit, path.assignment_id, None).await?;
    tx.replay().await?;
    season.open()?;
    proposed(&row)?;
    let log_seq = tx.seq().await?;
    row.declined_at = Some(tx.logged_at());
    assignments::decide(&mut tx, &permit, &row, log_seq).await?;
    finish(&mut tx, unit, &mut row, &touched).await?;
    let version = row.version;
    tx.commit_with(Answer::new(&Assignment::from(row))?.version(version)).await
}
