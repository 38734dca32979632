//! Decide whether a troop takes part in the season: sit out, rejoin.

use actix_web::post;
use serde::Deserialize;
use utoipa::IntoParams;

use super::decide::{self, Decision, DecisionReason, NeededReason};
use crate::auth::Permit;
use crate::auth::permission::{DecisionsTake, Permission as _};
use crate::change::Touched;
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{TroopId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons;
use crate::standings;
use crate::standings::rules::DecisionKind;

/// Which troop.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct TroopSeasonPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The troop.
    #[param(value_type = uuid::Uuid)]
    troop_id: TroopId,
}

/// Let a troop sit out the current season.
///
/// Its coordinators and their evidence stay as they are, for the day it rejoins.
#[utoipa::path(tag = "appointments", params(TroopSeasonPath), request_body = NeededReason, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "The decision.", body = Decision), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/sit-out")]
pub async fn sit_out_troop(
    permit: Permit<DecisionsTake>,
    path: Path<TroopSeasonPath>,
    body: Json<NeededReason>,
) -> Result<Answer<Decision>, ApiError> {
    decide_season(&permit, path.troop_id, DecisionKind::SitOut, body.0.given()?).await
}

/// Let a troop that sat out take part in the current season after all.
#[utoipa::path(tag = "appointments", params(TroopSeasonPath), request_body = DecisionReason, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "The decision.", body = Decision), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/rejoin")]
pub async fn rejoin_troop(
    permit: Permit<DecisionsTake>,
    path: Path<TroopSeasonPath>,
    body: Json<DecisionReason>,
) -> Result<Answer<Decision>, ApiError> {
    decide_season(&permit, path.troop_id, DecisionKind::Rejoin, body.0).await
}

async fn decide_season(
    permit: &Permit<DecisionsTake>,
    troop: TroopId,
    kind: DecisionKind,
    body: DecisionReason,
) -> Result<Answer<Decision>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    permit.reach(troop)?;
    let season = seasons::current(&mut tx, unit).await?.season_id;
    if !standings::has_troop(&mut tx, unit, season, troop).await? {
        return Err(Code::NotFound.into());
    }
    tx.replay_required().await?;
    let season = seasons::guard_open(&mut tx, unit, season).await?;
    let touched = Touched::some(season.season_id, vec![], vec![troop]);
    let new = decide::about_season(kind, troop, body.reason);
    let decision_id = decide::take(&mut tx, permit, &season, &touched, &new).await?;
    decide::finish(tx, permit, &season, &touched, new, (decision_id, None)).await
}
