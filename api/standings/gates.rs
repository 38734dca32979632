//! The gates as acts meet them.

use super::read;
use crate::auth::Tx;
use crate::common::ids::{TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError};
use crate::seasons::ThisSeason;
use crate::seasons::policy::GateName;

/// Lets an act through if its gate is open for the troop. Every act that [`crate::GATED_ACTS`] names calls it inside its
/// transaction, after holding the troop's season (`change::hold`), so that nothing can close the gate in between.
///
/// # Errors
/// 409 `gate_closed` naming everything that is in the way and who can take it out of it.
pub async fn require(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    troop: TroopId,
    name: GateName,
) -> Result<(), ApiError> {
    let (_, found) = read::one(tx, unit, season, None, troop).await?;
    let Some(gate) = found.standing.gates.iter().find(|gate| gate.gate == name && !gate.open) else { return Ok(()) };
    let errors = gate.reasons.iter().map(|reason| {
        let code = reason.requirement.clone().unwrap_or_else(|| "not_appointed".to_owned());
        FieldError::matter(code, &*reason.sentence)
    });
    Err(ApiError::new(Code::GateClosed).errors(errors.collect()))
}
