//! Every query of appointments: the assignment that a decision concerns.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::{DecisionsTake, Permission};
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId};
use crate::error::{ApiError, Code};

/// An assignment, locked, and within the permit's reach.
#[derive(Debug)]
pub(super) struct LockedAssignment {
    pub id: AssignmentId,
    pub troop: TroopId,
    pub season: SeasonId,
    pub person: PersonId,
}

struct AssignmentRow {
    troop_id: Uuid,
    season_id: Uuid,
    person_id: Uuid,
}

/// Locks an assignment: 404 outside the read scope, 403 outside this permission's.
pub(super) async fn lock<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    assignment: AssignmentId,
) -> Result<LockedAssignment, ApiError> {
    let unit = by.unit()?;
    let row = sqlx::query_as!(
        AssignmentRow,
        "select troop_id, season_id, person_id from assignment where unit_id = $1 and assignment_id = $2 for no key update",
        unit.0,
        assignment.0
    );
    let row = row.fetch_optional(tx.db()).await?.ok_or(Code::NotFound)?;
    by.reach(TroopId(row.troop_id))?;
    Ok(LockedAssignment {
        id: assignment,
        troop: TroopId(row.troop_id),
        season: SeasonId(row.season_id),
        person: PersonId(row.person_id),
    })
}

/// Those of these assignments that are of a season. Their troops are still to be held.
pub(super) async fn find(
    tx: &mut Tx,
    by: &Permit<DecisionsTake>,
    season: SeasonId,
    assignments: &[AssignmentId],
) -> Result<Vec<LockedAssignment>, ApiError> {
    let ids: Vec<Uuid> = assignments.iter().map(|one| one.0).collect();
    let rows = sqlx::query!(
        "select assignment_id, troop_id, person_id from assignment
         where unit_id = $1 and season_id = $2 and assignment_id = any ($3) order by assignment_id",
        by.unit()?.0,
        season.0,
        &ids
    );
    let rows = rows.fetch_all(tx.db()).await?;
    let found = rows.into_iter().map(|row| LockedAssignment {
        id: AssignmentId(row.assignment_id),
        troop: TroopId(row.troop_id),
        season,
        person: PersonId(row.person_id),
    });
    Ok(found.collect())
}

/// Ends an assignment: with it goes the person's reach over the troop.
pub(super) async fn end<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    locked: &LockedAssignment,
    (at, seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "update assignment set ended_at = $3, ended_because = 'stood_down', version = version + 1, log_seq = $4
         where unit_id = $1 and assignment_id = $2 and ended_at is null",
        by.unit()?.0,
        locked.id.0,
        at,
        seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
