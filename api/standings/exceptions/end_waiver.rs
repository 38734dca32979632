//! Take a waiver back, or withdraw one that waits.

use actix_web::post;

use super::find_waiver::WaiverPath;
use super::rules;
use super::waive_requirement::{Waiver, about, course, touched};
use crate::auth::Permit;
use crate::auth::permission::{Permission, WaiversGive};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::SeasonId;
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings::exceptions::ExceptionState;
use crate::standings::sql::exceptions;

/// Take a waiver back before its last day, or withdraw one that waits for a second person.
#[utoipa::path(tag = "standings", params(WaiverPath), extensions(("x-permission" = json!(WaiversGive::NAME))), responses((status = 200, description = "The waiver, taken back.", body = Waiver), Problems))]
#[post("/v1/units/{unit_id}/waivers/{waiver_id}/end")]
pub async fn end_waiver(permit: Permit<WaiversGive>, path: Path<WaiverPath>) -> Result<Answer<Waiver>, ApiError> {
    take_back(&permit, &path, rules::may_end).await
}

/// Ends a waiver now, if its state allows that to who asks.
pub(super) async fn take_back<P: Permission>(
    permit: &Permit<P>,
    path: &WaiverPath,
    may: fn(ExceptionState) -> Result<(), ApiError>,
) -> Result<Answer<Waiver>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut row = exceptions::lock_waiver(&mut tx, permit, path.waiver_id).await?;
    tx.replay().await?;
    let season = seasons::guard_open(&mut tx, unit, SeasonId(row.season_id)).await?;
    let touched = touched(&row);
    change::hold(&mut tx, unit, &touched).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    may(rules::state(course(&row), &calendar, tx.now()))?;
    let log_seq = tx.seq().await?;
    row.revoked_at = Some(tx.logged_at());
    exceptions::stamp_waiver(&mut tx, permit, &row, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    about(&mut tx, &row);
    let at = tx.logged_at();
    tx.commit_with(Answer::new(&Waiver::new(row, &calendar, at))?).await
}
