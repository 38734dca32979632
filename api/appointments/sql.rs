//! Every query of appointments: the assignment that a decision concerns.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::{DecisionsTake, Permission};
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, DecisionId, PersonId, SeasonId, TroopId, UnitId};
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

/// A decision as it was taken.
pub(super) struct DecisionRow {
    pub decision_id: Uuid,
    pub kind: String,
    pub troop_id: Uuid,
    pub assignment_id: Option<Uuid>,
    pub person_id: Option<Uuid>,
    pub reason: Option<String>,
    pub decided_at: DateTime<Utc>,
    pub decided_by: String,
}

/// Which decisions.
pub(super) struct WantedDecisions {
    /// About this troop and its coordinators.
    pub troop: Option<TroopId>,
    /// About this person.
    pub person: Option<PersonId>,
    /// Taken after this number of the log.
    pub since: Option<i64>,
    /// Taken before this one.
    pub before: Option<DecisionId>,
    /// So many.
    pub limit: i64,
}

/// The decisions of a season in reach, the newest first.
pub(super) async fn decisions<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    wanted: WantedDecisions,
) -> Result<Vec<DecisionRow>, ApiError> {
    let scope = by.scope().troops();
    let rows = sqlx::query_as!(
        DecisionRow,
        r#"select d.decision_id, d.kind, d.troop_id, d.assignment_id, a.person_id as "person_id?", d.reason, d.decided_at,
                  d.decided_by
           from decision d left join assignment a on a.unit_id = d.unit_id and a.assignment_id = d.assignment_id
           where d.unit_id = $1 and d.season_id = $2 and ($3::uuid[] is null or d.troop_id = any ($3))
             and ($4::uuid is null or d.troop_id = $4) and ($5::uuid is null or a.person_id = $5)
             and ($8::bigint is null or d.log_seq > $8)
             and ($6::uuid is null or (d.decided_at, d.decision_id)
                 < (select l.decided_at, l.decision_id from decision l where l.unit_id = $1 and l.decision_id = $6))
           order by d.decided_at desc, d.decision_id desc limit $7"#,
        by.unit()?.0,
        season.0,
        scope.as_deref(),
        wanted.troop.map(|id| id.0),
        wanted.person.map(|id| id.0),
        wanted.before.map(|id| id.0),
        wanted.limit,
        wanted.since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Why these coordinators were suspended the last time, where something was said.
pub(super) async fn reasons_of_suspension(
    tx: &mut Tx,
    unit: UnitId,
    assignments: &[Uuid],
) -> Result<Vec<(AssignmentId, String)>, ApiError> {
    let rows = sqlx::query!(
        r#"select distinct on (assignment_id) assignment_id as "assignment_id!", reason from decision
           where unit_id = $1 and assignment_id = any ($2) and kind = 'suspend'
           order by assignment_id, decided_at desc, decision_id desc"#,
        unit.0,
        assignments
    );
    let rows = rows.fetch_all(tx.db()).await?;
    Ok(rows.into_iter().filter_map(|row| Some((AssignmentId(row.assignment_id), row.reason?))).collect())
}
