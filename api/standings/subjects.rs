//! Whom facts can be about: for the features that record them.

use std::collections::BTreeMap;

use super::record::Subject;
use super::sql::cache;
use crate::auth::{Scope, Tx};
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

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
    Ok(!cache::troops(tx, unit, season, (Some(&[troop.0]), None)).await?.is_empty())
}

/// The numbers of a season's troops, as people write them; also of those that went into another one.
///
/// # Errors
/// Database faults.
pub async fn troop_numbers(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<BTreeMap<TroopId, String>, ApiError> {
    Ok(cache::numbers(tx, unit, season).await?.into_iter().collect())
}

/// Those of these people who coordinate a troop of a season (or are proposed for one) and those of these troops that are
/// in it, as far as a scope reaches.
///
/// # Errors
/// Database faults.
pub async fn known_subjects(
    tx: &mut Tx,
    (unit, season): (UnitId, SeasonId),
    (people, troops): (&[PersonId], &[TroopId]),
    scope: &Scope,
) -> Result<Vec<Subject>, ApiError> {
    let places = cache::places_of(tx, unit, season, people).await?;
    let people = places.into_iter().filter(|place| scope.reaches(TroopId(place.troop_id)));
    let people = people.map(|place| Subject::Person(PersonId(place.person_id)));
    let ids: Vec<_> = troops.iter().map(|troop| troop.0).collect();
    let rows = cache::troops(tx, unit, season, (Some(&ids), None)).await?;
    let troops = rows.into_iter().map(|row| TroopId(row.troop_id)).filter(|troop| scope.reaches(*troop));
    Ok(people.chain(troops.map(Subject::Troop)).collect())
}
