//! What belongs to some troops, for whoever reaches these troops alone.

use std::collections::HashSet;

use uuid::Uuid;

use super::sql::ties as sql;
use crate::auth::Tx;
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;

/// Of some ids, those that belong to own troops.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OwnTies {
    /// People whom somebody sees who coordinates these troops now: as `find_person` shows them.
    pub people: HashSet<Uuid>,
    /// Assignments to these troops.
    pub assignments: HashSet<Uuid>,
}

/// Which of these ids are people and assignments of these troops.
///
/// # Errors
/// Database faults.
pub async fn own_ties(
    tx: &mut Tx,
    unit: UnitId,
    (troops, oneself): (&[Uuid], PersonId),
    ids: &[Uuid],
) -> Result<OwnTies, ApiError> {
    if troops.is_empty() || ids.is_empty() {
        return Ok(OwnTies::default());
    }
    let people = sql::people(tx, unit, troops, oneself, ids).await?.into_iter().collect();
    let assignments = sql::assignments(tx, unit, troops, ids).await?.into_iter().collect();
    Ok(OwnTies { people, assignments })
}
