//! Which ids belong to some troops.

use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;

/// As [`super::people::find_within`] says it of one.
pub(in crate::roster) async fn people(
    tx: &mut Tx,
    unit: UnitId,
    troops: &[Uuid],
    oneself: PersonId,
    ids: &[Uuid],
) -> Result<Vec<Uuid>, ApiError> {
    let now = tx.now();
    let people = sqlx::query_scalar!(
        "select p.person_id from person p
         where p.unit_id = $1 and p.person_id = any ($4) and p.merged_into is null and (p.person_id = $3
             or exists (select from assignment a join season s using (unit_id, season_id)
                 where a.unit_id = $1 and a.person_id = p.person_id
                 and a.troop_id = any ($2) and a.ended_at is null and a.declined_at is null and (a.until_at is null or a.until_at > $5)
                 and season_gives_reach(s.is_current, s.closed_at, s.ends_on, s.time_zone, $5))
             or exists (select from troop_contact c where c.unit_id = $1 and c.person_id = p.person_id
                 and c.troop_id = any ($2) and (c.ended_at is null or c.ended_at > $5)))",
        unit.0,
        troops,
        oneself.0,
        ids,
        now
    );
    Ok(people.fetch_all(tx.db()).await?)
}

pub(in crate::roster) async fn assignments(
    tx: &mut Tx,
    unit: UnitId,
    troops: &[Uuid],
    ids: &[Uuid],
) -> Result<Vec<Uuid>, ApiError> {
    let assignments = sqlx::query_scalar!(
        "select assignment_id from assignment where unit_id = $1 and troop_id = any ($2) and assignment_id = any ($3)",
        unit.0,
        troops,
        ids
    );
    Ok(assignments.fetch_all(tx.db()).await?)
}
