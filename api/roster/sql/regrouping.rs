//! Every query by which troops become one, or one becomes two.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::assignments::AssignmentRow;
use super::contacts::TroopContactRow;
use crate::auth::permission::{TroopsChange, TroopsRegroup};
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{AssignmentId, PersonId, RegroupingId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};

/// The people with an assignment that goes on in one of these troops, confirmed or only proposed.
pub(in crate::roster) async fn people_of(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troops: &[TroopId],
) -> Result<Vec<PersonId>, ApiError> {
    let troops: Vec<Uuid> = troops.iter().map(|troop| troop.0).collect();
    let people = sqlx::query_scalar!(
        "select distinct person_id from assignment
         where unit_id = $1 and season_id = $2 and troop_id = any ($3) and ended_at is null and declined_at is null order by 1",
        unit.0,
        season.0,
        &troops
    );
    Ok(people.fetch_all(tx.db()).await?.into_iter().map(PersonId).collect())
}

/// What goes on in a troop that is held, confirmed or only proposed, the oldest first.
pub(in crate::roster) async fn open_in(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    season: SeasonId,
    troop: TroopId,
) -> Result<Vec<AssignmentRow>, ApiError> {
    let rows = sqlx::query_as!(
        AssignmentRow,
        "select assignment_id, troop_id, season_id, person_id, lead, from_at, until_at, proposed_at, confirmed_at,
             declined_at, ended_at, ended_because, version
         from assignment
         where unit_id = $1 and season_id = $2 and troop_id = $3 and ended_at is null and declined_at is null
         order by assignment_id for no key update",
        by.unit()?.0,
        season.0,
        troop.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Ends an assignment because its troop was regrouped.
pub(in crate::roster) async fn end(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    assignment: AssignmentId,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "update assignment set ended_at = $3, ended_because = 'regrouped', version = version + 1, log_seq = $4
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

/// The contacts of a troop whose duty goes on.
pub(in crate::roster) async fn contacts_of(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    troop: TroopId,
) -> Result<Vec<TroopContactRow>, ApiError> {
    let now = tx.now();
    let rows = sqlx::query_as!(
        TroopContactRow,
        "select troop_id, person_id, duty, from_at, ended_at from troop_contact
         where unit_id = $1 and troop_id = $2 and (ended_at is null or ended_at > $3) order by person_id, duty for update",
        by.unit()?.0,
        troop.0,
        now
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Ends a troop's place in a season.
pub(in crate::roster) async fn end_place(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    season: SeasonId,
    troop: TroopId,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "update troop_season set ended_at = $4, log_seq = $5 where unit_id = $1 and season_id = $2 and troop_id = $3",
        by.unit()?.0,
        season.0,
        troop.0,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

#[derive(Clone, Debug)]
pub(in crate::roster) struct RegroupingRow {
    pub regrouping_id: Uuid,
    pub season_id: Uuid,
    pub kind: String,
    pub from_troop_id: Uuid,
    pub from_number: String,
    pub to_troop_id: Uuid,
    pub to_number: String,
    pub reason: Option<String>,
    pub selling_youths: i32,
    pub regrouped_at: DateTime<Utc>,
}

pub(in crate::roster) async fn insert(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    row: &RegroupingRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    let who = tx.actor().to_owned();
    sqlx::query!(
        "insert into regrouping (unit_id, regrouping_id, season_id, kind, from_troop_id, to_troop_id, reason, selling_youths,
             regrouped_at, regrouped_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        by.unit()?.0,
        row.regrouping_id,
        row.season_id,
        row.kind,
        row.from_troop_id,
        row.to_troop_id,
        row.reason,
        row.selling_youths,
        row.regrouped_at,
        who,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The regroupings of a season of which both troops are in reach, or of one of its troops, the first one first.
pub(in crate::roster) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    (season, troop, since): (SeasonId, Option<TroopId>, Option<i64>),
    (after, limit): (Option<RegroupingId>, i64),
) -> Result<Vec<RegroupingRow>, ApiError> {
    let within = scope.troops();
    let rows = sqlx::query_as!(
        RegroupingRow,
        "select r.regrouping_id, r.season_id, r.kind, r.from_troop_id, f.number as from_number, r.to_troop_id,
             t.number as to_number, r.reason, r.selling_youths, r.regrouped_at
         from regrouping r
         join troop f on f.unit_id = r.unit_id and f.troop_id = r.from_troop_id
         join troop t on t.unit_id = r.unit_id and t.troop_id = r.to_troop_id
         where r.unit_id = $1 and r.season_id = $2
           and ($3::uuid[] is null or (r.from_troop_id = any ($3) and r.to_troop_id = any ($3)))
           and ($4::uuid is null or $4 in (r.from_troop_id, r.to_troop_id)) and ($5::uuid is null or r.regrouping_id > $5)
           and ($7::bigint is null or r.log_seq > $7)
         order by r.regrouping_id limit $6",
        unit.0,
        season.0,
        within.as_deref(),
        troop.map(|troop| troop.0),
        after.map(|one| one.0),
        limit,
        since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A troop whose number is to change.
#[derive(Clone, Debug)]
pub(in crate::roster) struct NumberedRow {
    pub troop_id: Uuid,
    pub version: i64,
}

/// Locks these troops in the order of their ids.
pub(in crate::roster) async fn lock_all(
    tx: &mut Tx,
    by: &Permit<TroopsChange>,
    troops: &[Uuid],
) -> Result<Vec<NumberedRow>, ApiError> {
    let rows = sqlx::query_as!(
        NumberedRow,
        "select troop_id, version from troop where unit_id = $1 and troop_id = any ($2) order by troop_id for no key update",
        by.unit()?.0,
        troops
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Those of these numbers that a troop has which is not among these.
pub(in crate::roster) async fn taken(
    tx: &mut Tx,
    by: &Permit<TroopsChange>,
    troops: &[Uuid],
    keys: &[String],
) -> Result<Vec<String>, ApiError> {
    let keys = sqlx::query_scalar!(
        "select number_key from troop where unit_id = $1 and not (troop_id = any ($2)) and number_key = any ($3)",
        by.unit()?.0,
        troops,
        keys
    );
    Ok(keys.fetch_all(tx.db()).await?)
}

/// Gives these troops these numbers, in one statement: what is unique is asked for at its end, so any of them may change
/// places.
pub(in crate::roster) async fn renumber(
    tx: &mut Tx,
    by: &Permit<TroopsChange>,
    (troops, numbers, keys): (&[Uuid], &[String], &[String]),
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update troop set number = new.number, number_key = new.number_key, version = version + 1, log_seq = $5
         from unnest($2::uuid[], $3::text[], $4::text[]) as new (troop_id, number, number_key)
         where troop.unit_id = $1 and troop.troop_id = new.troop_id",
        by.unit()?.0,
        troops,
        numbers,
        keys,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("troop_number_unique", Code::NumberTaken)?;
    Ok(())
}
