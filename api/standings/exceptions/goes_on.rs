//! What was let go for a troop and goes on when its coordinator changes: it was given to the troop, not to the person.

use super::{ExceptionState, override_gate, rules, waive_requirement};
use crate::auth::Tx;
use crate::common::ids::{TroopId, UnitId};
use crate::error::ApiError;
use crate::one_troop::{EndsWithTroop, GoesOn, GoesOnWithTroop};
use crate::seasons::{self, ThisSeason};
use crate::standings::sql::exceptions;

/// The troop's own waivers and overrides that wait or are in force.
pub(in super::super) fn look<'a>(tx: &'a mut Tx, unit: UnitId, season: &'a ThisSeason, troop: TroopId) -> GoesOn<'a> {
    Box::pin(find(tx, unit, season, troop))
}

async fn find(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    troop: TroopId,
) -> Result<Vec<GoesOnWithTroop>, ApiError> {
    let calendar = seasons::calendar_of(tx, unit, season).await?;
    let at = tx.now();
    let lives = |course| {
        let state = rules::state(course, &calendar, at);
        matches!(state, ExceptionState::Waiting | ExceptionState::InForce)
    };
    let mut found = Vec::new();
    let waivers = exceptions::waivers(tx, unit, season.season_id).await?;
    let own = waivers.into_iter().filter(|row| row.troop_id == Some(troop.0));
    for row in own.filter(|row| lives(waive_requirement::course(row))) {
        let what = format!("The waiver of \"{}\" goes on until {}.", row.requirement, row.until_on);
        found.push(GoesOnWithTroop { kind: EndsWithTroop::Waiver, id: row.waiver_id, troop_id: troop, what });
    }
    let overrides = exceptions::overrides(tx, unit, season.season_id, Some(troop.0)).await?;
    for row in overrides.into_iter().filter(|row| lives(override_gate::course(row))) {
        let what = format!(
            "The leave for the gate \"{}\" goes on until {}. End it (end_override) if it was meant for who goes.",
            row.gate, row.until_on
        );
        found.push(GoesOnWithTroop { kind: EndsWithTroop::Override, id: row.override_id, troop_id: troop, what });
    }
    Ok(found)
}
