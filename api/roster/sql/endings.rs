//! Every query by which an assignment ends because of somebody: replaced, or gone.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::assignments::AssignmentRow;
use crate::auth::permission::{AssignmentsChange, PeopleChange, Permission};
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TakeOverId, TroopId, UnitId};
use crate::error::ApiError;

/// Ends an assignment now.
pub(in crate::roster) async fn replaced(
    tx: &mut Tx,
    by: &Permit<AssignmentsChange>,
    assignment: AssignmentId,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "update assignment set ended_at = $3, ended_because = 'replaced', version = version + 1, log_seq = $4
         where unit_id = $1 and assignment_id = $2",
        by.unit()?.0,
        assignment.0,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The open assignment of a person in a troop's season, confirmed or only proposed.
pub(in crate::roster) async fn open_of<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troop: TroopId,
    person: PersonId,
) -> Result<Option<AssignmentRow>, ApiError> {
    let row = sqlx::query_as!(
        AssignmentRow,
        "select assignment_id, troop_id, season_id, person_id, lead, from_at, until_at, proposed_at, confirmed_at,
             declined_at, ended_at, ended_because, version
         from assignment
         where unit_id = $1 and season_id = $2 and troop_id = $3 and person_id = $4 and ended_at is null and declined_at is null
         for no key update",
        by.unit()?.0,
        season.0,
        troop.0,
        person.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// A replacement, as it was recorded.
#[derive(Clone, Debug)]
pub(in crate::roster) struct TakeOverRow {
    pub take_over_id: Uuid,
    pub season_id: Uuid,
    pub troop_id: Uuid,
    pub from_assignment_id: Uuid,
    pub to_assignment_id: Uuid,
    pub from_person_id: Uuid,
    pub to_person_id: Uuid,
    pub reason: Option<String>,
    pub note: Option<String>,
    pub taken_over_at: DateTime<Utc>,
}

pub(in crate::roster) async fn insert_take_over(
    tx: &mut Tx,
    by: &Permit<AssignmentsChange>,
    row: &TakeOverRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    let recorded_by = tx.actor().to_owned();
    sqlx::query!(
        "insert into take_over (unit_id, take_over_id, season_id, troop_id, from_assignment_id, to_assignment_id, reason, note,
             taken_over_at, recorded_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        by.unit()?.0,
        row.take_over_id,
        row.season_id,
        row.troop_id,
        row.from_assignment_id,
        row.to_assignment_id,
        row.reason,
        row.note,
        row.taken_over_at,
        recorded_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The replacements in a troop, the first one first.
pub(in crate::roster) async fn take_overs(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    (troop, since): (TroopId, Option<i64>),
    (after, limit): (Option<TakeOverId>, i64),
) -> Result<Vec<TakeOverRow>, ApiError> {
    let within = scope.troops();
    let rows = sqlx::query_as!(
        TakeOverRow,
        "select t.take_over_id, t.season_id, t.troop_id, t.from_assignment_id, t.to_assignment_id, t.reason, t.note,
             t.taken_over_at, old.person_id as from_person_id, new.person_id as to_person_id
         from take_over t
         join assignment old on old.unit_id = t.unit_id and old.assignment_id = t.from_assignment_id
         join assignment new on new.unit_id = t.unit_id and new.assignment_id = t.to_assignment_id
         where t.unit_id = $1 and ($2::uuid[] is null or t.troop_id = any ($2)) and t.troop_id = $3
           and ($4::uuid is null or t.take_over_id > $4) and ($6::bigint is null or t.log_seq > $6)
         order by t.take_over_id limit $5",
        unit.0,
        within.as_deref(),
        troop.0,
        after.map(|one| one.0),
        limit,
        since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The seasons that are open and in which a person has an assignment that goes on.
pub(in crate::roster) async fn open_seasons_of(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    people: &[PersonId],
) -> Result<Vec<SeasonId>, ApiError> {
    let people: Vec<Uuid> = people.iter().map(|person| person.0).collect();
    let seasons = sqlx::query_scalar!(
        "select distinct a.season_id from assignment a join season s using (unit_id, season_id)
         where a.unit_id = $1 and a.person_id = any ($2) and a.ended_at is null and a.declined_at is null
           and s.closed_at is null
         order by 1",
        by.unit()?.0,
        &people
    );
    Ok(seasons.fetch_all(tx.db()).await?.into_iter().map(SeasonId).collect())
}

/// The troops in which a person has an assignment that goes on, in a season.
pub(in crate::roster) async fn troops_of(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    season: SeasonId,
    person: PersonId,
) -> Result<Vec<Uuid>, ApiError> {
    let troops = sqlx::query_scalar!(
        "select distinct troop_id from assignment
         where unit_id = $1 and season_id = $2 and person_id = $3 and ended_at is null and declined_at is null order by 1",
        by.unit()?.0,
        season.0,
        person.0
    );
    Ok(troops.fetch_all(tx.db()).await?)
}

/// Ends what somebody who leaves still coordinates in open seasons: from `at` on, which may lie ahead. What would begin
/// only then, and what was only proposed, ends now.
pub(in crate::roster) async fn end_assignments_of(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    person: PersonId,
    (at, now, log_seq): (DateTime<Utc>, DateTime<Utc>, i64),
) -> Result<Vec<AssignmentId>, ApiError> {
    let ended = sqlx::query_scalar!(
        "update assignment a
         set ended_at = case when $3 <= $4 or from_at >= $3 or confirmed_at is null then $4 else ended_at end,
             until_at = case when $3 <= $4 or from_at >= $3 or confirmed_at is null then until_at
                             else least(until_at, $3) end,
             ended_because = 'left', version = a.version + 1, log_seq = $5
         from season s
         where s.unit_id = a.unit_id and s.season_id = a.season_id and s.closed_at is null and a.unit_id = $1
           and a.person_id = $2 and a.ended_at is null and a.declined_at is null and (a.until_at is null or a.until_at > $4)
         returning a.assignment_id",
        by.unit()?.0,
        person.0,
        at,
        now,
        log_seq
    );
    Ok(ended.fetch_all(tx.db()).await?.into_iter().map(AssignmentId).collect())
}

/// As [`end_assignments_of`], for roles.
pub(in crate::roster) async fn end_grants_of(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    person: PersonId,
    (at, now, log_seq): (DateTime<Utc>, DateTime<Utc>, i64),
) -> Result<Vec<Uuid>, ApiError> {
    let ended = sqlx::query_scalar!(
        "update role_grant
         set ended_at = case when $3 <= $4 or from_at >= $3 then $4 else ended_at end,
             until_at = case when $3 <= $4 or from_at >= $3 then until_at else least(until_at, $3) end, log_seq = $5
         where unit_id = $1 and person_id = $2 and ended_at is null and (until_at is null or until_at > $4)
         returning grant_id",
        by.unit()?.0,
        person.0,
        at,
        now,
        log_seq
    );
    Ok(ended.fetch_all(tx.db()).await?)
}

/// As [`end_assignments_of`], for duties in troops.
pub(in crate::roster) async fn end_duties_of(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    person: PersonId,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<Vec<Uuid>, ApiError> {
    let ended = sqlx::query_scalar!(
        "update troop_contact set ended_at = $3, log_seq = $4
         where unit_id = $1 and person_id = $2 and (ended_at is null or ended_at > $3)
         returning troop_id",
        by.unit()?.0,
        person.0,
        at,
        log_seq
    );
    Ok(ended.fetch_all(tx.db()).await?)
}

/// Locks every open grant of the unit managers' role, in the order of their ids.
pub(in crate::roster) async fn lock_managers(tx: &mut Tx, by: &Permit<PeopleChange>) -> Result<(), ApiError> {
    sqlx::query_scalar!(
        "select grant_id from role_grant where unit_id = $1 and role = 'unit_manager' and ended_at is null
         order by grant_id for update",
        by.unit()?.0
    )
    .fetch_all(tx.db())
    .await?;
    Ok(())
}

/// The people who manage the unit now and without an end.
pub(in crate::roster) async fn lasting_managers(tx: &mut Tx, unit: UnitId) -> Result<Vec<PersonId>, ApiError> {
    let now = tx.now();
    let people = sqlx::query_scalar!(
        "select distinct person_id from role_grant
         where unit_id = $1 and role = 'unit_manager' and ended_at is null and until_at is null and from_at <= $2
         order by 1",
        unit.0,
        now
    );
    Ok(people.fetch_all(tx.db()).await?.into_iter().map(PersonId).collect())
}
