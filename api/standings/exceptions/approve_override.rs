//! Agree to an override as the second person.

use actix_web::post;

use super::find_override::OverridePath;
use super::outlived::Look;
use super::override_gate::{GateOverride, about, course, touched};
use super::rules;
use crate::auth::Permit;
use crate::auth::permission::{OverridesApprove, Permission as _};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{SeasonId, TroopId};
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings::load::gate_named;
use crate::standings::read;
use crate::standings::sql::exceptions;

/// Agree to an override that waits for a second person: from then on it is in force.
///
/// Whoever asked for it cannot also agree to it, whatever roles they hold; nor can whom it is about, or who coordinates the troop.
#[utoipa::path(tag = "standings", params(OverridePath), extensions(("x-permission" = json!(OverridesApprove::NAME))), responses((status = 200, description = "The override, in force.", body = GateOverride), Problems))]
#[post("/v1/units/{unit_id}/overrides/{override_id}/approve")]
pub async fn approve_override(
    permit: Permit<OverridesApprove>,
    path: Path<OverridePath>,
) -> Result<Answer<GateOverride>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut row = exceptions::lock_override(&mut tx, &permit, path.override_id).await?;
    tx.replay().await?;
    let season = seasons::guard_open(&mut tx, unit, SeasonId(row.season_id)).await?;
    let touched = touched(&row);
    change::hold(&mut tx, unit, &touched).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    rules::may_agree(rules::state(course(&row), &calendar, tx.now()), &row.asked_by, tx.actor())?;
    rules::not_for_oneself((permit.person()?, &permit.actor().entered.troops), (None, Some(row.troop_id)))?;
    let (_, found) = read::one(&mut tx, unit, &season, None, TroopId(row.troop_id)).await?;
    let gate = gate_named(&row.gate)?;
    // What has come in the way meanwhile may be something that nobody may override.
    if let Some(shut) = found.standing.gates.iter().find(|one| one.gate == gate && !one.open) {
        rules::override_needs_two(shut, &calendar)?;
    }
    let log_seq = tx.seq().await?;
    row.granted_at = Some(tx.logged_at());
    row.granted_by = Some(tx.actor().to_owned());
    exceptions::stamp_override(&mut tx, &permit, &row, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    about(&mut tx, &row);
    let at = tx.logged_at();
    let look = Look::at(&mut tx, unit, &season, std::slice::from_ref(&row), at).await?;
    tx.commit_with(Answer::new(&look.show(row)?)?).await
}
