//! Every query of coordinators' assignments.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::{AssignmentsChange, Permission};
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};

#[derive(Clone, Debug)]
pub(in crate::roster) struct AssignmentRow {
    pub assignment_id: Uuid,
    pub troop_id: Uuid,
    pub season_id: Uuid,
    pub person_id: Uuid,
    pub lead: bool,
    pub from_at: DateTime<Utc>,
    pub until_at: Option<DateTime<Utc>>,
    pub proposed_at: Option<DateTime<Utc>>,
    pub confirmed_at: Option<DateTime<Utc>>,
    pub declined_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_because: Option<String>,
    pub version: i64,
}

pub(in crate::roster) async fn find(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    assignment: AssignmentId,
) -> Result<AssignmentRow, ApiError> {
    let within = scope.troops();
    let row = sqlx::query_as!(
        AssignmentRow,
        "select assignment_id, troop_id, season_id, person_id, lead, from_at, until_at, proposed_at, confirmed_at,
             declined_at, ended_at, ended_because, version
         from assignment
         where unit_id = $1 and ($2::uuid[] is null or troop_id = any ($2)) and assignment_id = $3",
        unit.0,
        within.as_deref(),
        assignment.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

/// Locks an assignment whose troop is held already.
pub(in crate::roster) async fn lock(
    tx: &mut Tx,
    by: &Permit<AssignmentsChange>,
    assignment: AssignmentId,
) -> Result<AssignmentRow, ApiError> {
    let row = sqlx::query_as!(
        AssignmentRow,
        "select assignment_id, troop_id, season_id, person_id, lead, from_at, until_at, proposed_at, confirmed_at,
             declined_at, ended_at, ended_because, version
         from assignment where unit_id = $1 and assignment_id = $2 for no key update",
        by.unit()?.0,
        assignment.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

/// Which assignments are asked for.
#[derive(Clone, Debug)]
pub(in crate::roster) struct Wanted {
    pub season: SeasonId,
    pub troop: Option<TroopId>,
    pub person: Option<PersonId>,
    /// Only open proposals, or only what is none.
    pub proposed: Option<bool>,
    /// Only those that changed after this number of the log.
    pub since: Option<i64>,
    pub after: Option<AssignmentId>,
    pub limit: i64,
}

pub(in crate::roster) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    wanted: Wanted,
) -> Result<Vec<AssignmentRow>, ApiError> {
    let within = scope.troops();
    let rows = sqlx::query_as!(
        AssignmentRow,
        "select assignment_id, troop_id, season_id, person_id, lead, from_at, until_at, proposed_at, confirmed_at,
             declined_at, ended_at, ended_because, version
         from assignment
         where unit_id = $1 and ($2::uuid[] is null or troop_id = any ($2)) and season_id = $3
           and ($4::uuid is null or troop_id = $4) and ($5::uuid is null or person_id = $5)
           and ($6::boolean is null or (confirmed_at is null and declined_at is null and ended_at is null) = $6)
           and ($7::uuid is null or assignment_id > $7) and ($9::bigint is null or log_seq > $9)
         order by assignment_id limit $8",
        unit.0,
        within.as_deref(),
        wanted.season.0,
        wanted.troop.map(|troop| troop.0),
        wanted.person.map(|person| person.0),
        wanted.proposed,
        wanted.after.map(|assignment| assignment.0),
        wanted.limit,
        wanted.since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Ends those of a troop whose time is over, at the end that they had: who comes after them needs their place.
pub(in crate::roster) async fn end_what_ran_out<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troop: TroopId,
    log_seq: i64,
) -> Result<(), ApiError> {
    let now = tx.now();
    let ended = sqlx::query_scalar!(
        "update assignment set ended_at = until_at, ended_because = coalesce(ended_because, 'ran_out'), version = version + 1, log_seq = $4
         where unit_id = $1 and season_id = $2 and troop_id = $3 and ended_at is null and declined_at is null
           and confirmed_at is not null and until_at <= $5
         returning assignment_id",
        by.unit()?.0,
        season.0,
        troop.0,
        log_seq,
        now
    )
    .fetch_all(tx.db())
    .await?;
    for assignment in ended {
        tx.about("assignment", assignment);
    }
    Ok(())
}

pub(in crate::roster) async fn insert<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &AssignmentRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, until_at,
             proposed_at, confirmed_at, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        by.unit()?.0,
        row.assignment_id,
        row.troop_id,
        row.season_id,
        row.person_id,
        row.lead,
        row.from_at,
        row.until_at,
        row.proposed_at,
        row.confirmed_at,
        row.version,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("assignment_person_once", Code::AlreadyAssigned)
    .on_constraint("assignment_one_lead", Code::LeadTaken)?;
    Ok(())
}

/// Writes what a person has decided about a proposal; the version goes up by one.
pub(in crate::roster) async fn decide<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &AssignmentRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update assignment set lead = $3, confirmed_at = $4, declined_at = $5, version = version + 1, log_seq = $6
         where unit_id = $1 and assignment_id = $2",
        by.unit()?.0,
        row.assignment_id,
        row.lead,
        row.confirmed_at,
        row.declined_at,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("assignment_one_lead", Code::LeadTaken)?;
    Ok(())
}
