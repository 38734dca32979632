//! Take an override back, or withdraw one that waits.

use actix_web::post;

use super::find_override::OverridePath;
use super::outlived::Look;
use super::override_gate::{GateOverride, about, course, touched};
use super::rules;
use crate::auth::Permit;
use crate::auth::permission::{OverridesGive, Permission};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::SeasonId;
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings::exceptions::ExceptionState;
use crate::standings::sql::exceptions;

/// Take an override back before its last day, or withdraw one that waits for a second person.
#[utoipa::path(tag = "standings", params(OverridePath), extensions(("x-permission" = json!(OverridesGive::NAME))), responses((status = 200, description = "The override, taken back.", body = GateOverride), Problems))]
#[post("/v1/units/{unit_id}/overrides/{override_id}/end")]
pub async fn end_override(
    permit: Permit<OverridesGive>,
    path: Path<OverridePath>,
) -> Result<Answer<GateOverride>, ApiError> {
    take_back(&permit, &path, rules::may_end).await
}

/// Ends an override now, if its state allows that to who asks.
pub(super) async fn take_back<P: Permission>(
    permit: &Permit<P>,
    path: &OverridePath,
    may: fn(ExceptionState) -> Result<(), ApiError>,
) -> Result<Answer<GateOverride>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut row = exceptions::lock_override(&mut tx, permit, path.override_id).await?;
    tx.replay().await?;
    let season = seasons::guard_open(&mut tx, unit, SeasonId(row.season_id)).await?;
    let touched = touched(&row);
    change::hold(&mut tx, unit, &touched).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    may(rules::state(course(&row), &calendar, tx.now()))?;
    let log_seq = tx.seq().await?;
    row.revoked_at = Some(tx.logged_at());
    exceptions::stamp_override(&mut tx, permit, &row, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    about(&mut tx, &row);
    let at = tx.logged_at();
    let look = Look::at(&mut tx, unit, &season, std::slice::from_ref(&row), at).await?;
    tx.commit_with(Answer::new(&look.show(row)?)?).await
}
