//! The waivers and overrides of a troop that goes into another one end with it.

use super::{ExceptionState, override_gate, rules, waive_requirement};
use crate::auth::permission::TroopsRegroup;
use crate::auth::{Permit, Tx};
use crate::error::ApiError;
use crate::one_troop::{EndedWithTroop, EndsWithTroop, OneTroop};
use crate::seasons;
use crate::standings::sql::exceptions;

/// Takes back what waits or is in force for the troop itself. A coordinator's own waivers stay the coordinator's.
pub(in super::super) async fn end(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    one: &OneTroop,
) -> Result<Vec<EndedWithTroop>, ApiError> {
    let (unit, season) = (by.unit()?, one.season.season_id);
    let calendar = seasons::calendar_of(tx, unit, &one.season).await?;
    let log_seq = tx.seq().await?;
    let at = tx.logged_at();
    let lives = |course| {
        let state = rules::state(course, &calendar, at);
        matches!(state, ExceptionState::Waiting | ExceptionState::InForce)
    };
    let mut ended = Vec::new();
    let waivers = exceptions::waivers(tx, unit, season).await?;
    let own = waivers.into_iter().filter(|row| row.troop_id == Some(one.from.0));
    for mut row in own.filter(|row| lives(waive_requirement::course(row))) {
        row.revoked_at = Some(at);
        exceptions::stamp_waiver(tx, by, &row, log_seq).await?;
        waive_requirement::about(tx, &row);
        ended.push(EndedWithTroop { kind: EndsWithTroop::Waiver, id: row.waiver_id });
    }
    let overrides = exceptions::overrides(tx, unit, season, Some(one.from.0)).await?;
    for mut row in overrides.into_iter().filter(|row| lives(override_gate::course(row))) {
        row.revoked_at = Some(at);
        exceptions::stamp_override(tx, by, &row, log_seq).await?;
        override_gate::about(tx, &row);
        ended.push(EndedWithTroop { kind: EndsWithTroop::Override, id: row.override_id });
    }
    Ok(ended)
}
