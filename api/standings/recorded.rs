//! What has been recorded already: for lists, which must not record twice what is known.

use uuid::Uuid;

use super::load::evidence_fact;
use super::record::Subject;
use super::rules::EvidenceFact;
use super::sql::facts;
use crate::auth::Tx;
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

/// Every fact of a season about these troops and people, self-reports included, screenings too.
///
/// # Errors
/// Database faults.
pub async fn recorded(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    (troops, people): (&[TroopId], &[PersonId]),
) -> Result<Vec<(Subject, EvidenceFact)>, ApiError> {
    let troops: Vec<Uuid> = troops.iter().map(|troop| troop.0).collect();
    let people: Vec<Uuid> = people.iter().map(|person| person.0).collect();
    let rows = facts::evidence(tx, unit, season, (&troops, &people), i64::MAX).await?;
    let fact = |row: &facts::EvidenceRow| {
        let subject = match (row.person_id, row.troop_id) {
            (Some(person), _) => Subject::Person(PersonId(person)),
            (None, Some(troop)) => Subject::Troop(TroopId(troop)),
            (None, None) => return Err(ApiError::broken("a fact about nobody")),
        };
        Ok((subject, evidence_fact(row)?))
    };
    rows.iter().map(fact).collect()
}
