//! Agree to a waiver as the second person.

use actix_web::post;

use super::find_waiver::WaiverPath;
use super::rules;
use super::waive_requirement::{Waiver, about, course, touched};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WaiversApprove};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::SeasonId;
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings::sql::exceptions;

/// Agree to a waiver that waits for a second person: from then on it is in force.
///
/// Whoever asked for it cannot also agree to it, whatever roles they hold; nor can whom it is about, or who coordinates the troop.
#[utoipa::path(tag = "standings", params(WaiverPath), extensions(("x-permission" = json!(WaiversApprove::NAME))), responses((status = 200, description = "The waiver, in force.", body = Waiver), Problems))]
#[post("/v1/units/{unit_id}/waivers/{waiver_id}/approve")]
pub async fn approve_waiver(
    permit: Permit<WaiversApprove>,
    path: Path<WaiverPath>,
) -> Result<Answer<Waiver>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut row = exceptions::lock_waiver(&mut tx, &permit, path.waiver_id).await?;
    tx.replay().await?;
    let season = seasons::guard_open(&mut tx, unit, SeasonId(row.season_id)).await?;
    let touched = touched(&row);
    change::hold(&mut tx, unit, &touched).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    rules::may_agree(rules::state(course(&row), &calendar, tx.now()), &row.asked_by, tx.actor())?;
    rules::not_for_oneself((permit.person()?, &permit.actor().entered.troops), (row.person_id, row.troop_id))?;
    let policy = seasons::policy_of(&mut tx, unit, season.season_id).await?;
    rules::waiver_needs_two(&policy, &row.requirement)?;
    let log_seq = tx.seq().await?;
    row.granted_at = Some(tx.logged_at());
    row.granted_by = Some(tx.actor().to_owned());
    exceptions::stamp_waiver(&mut tx, &permit, &row, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    about(&mut tx, &row);
    let at = tx.logged_at();
    tx.commit_with(Answer::new(&Waiver::new(row, &calendar, at))?).await
}
