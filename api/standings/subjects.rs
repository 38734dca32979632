//! Whom facts can be about: for the features that record them.

use crate::auth::Tx;
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

use super::sql::cache;

/// The troops that a person coordinates in a season, or is proposed for.
///
/// # Errors
/// Database faults.
pub async fn troops_of_person(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    person: PersonId,
) -> Result<Vec<TroopId>, ApiError> {
    let troops = cache::troops_of(tx, unit, season, &[person]).await?;
    Ok(troops.into_iter().map(TroopId).collect())
}

/// Whether a troop is in a season.
///
/// # Errors
/// Database faults.
pub async fn has_troop(tx: &mut Tx, unit: UnitId, season: SeasonId, troop: TroopId) -> Result<bool, ApiError> {
    Ok(!cache::troops(tx, unit, season, Some(&[troop.0])).await?.is_empty())
}
