//! The cached answers, and the locks under which they are written.

use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

/// A troop's season with its cached answer, if there is one.
pub(in super::super) struct TroopRow {
    pub troop_id: Uuid,
    pub number: String,
    pub number_key: String,
    pub name: String,
    pub first_season: bool,
    pub answer: Option<Value>,
    pub log_seq: Option<i64>,
    pub rules_version: Option<i32>,
    pub changes_at: Option<DateTime<Utc>>,
}

/// The troops that have a place in a season, or had one at a past instant, or these of them, in the order of their ids.
pub(in super::super) async fn troops(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    (only, as_of): (Option<&[Uuid]>, Option<DateTime<Utc>>),
) -> Result<Vec<TroopRow>, ApiError> {
    let rows = sqlx::query_as!(
        TroopRow,
        r#"select ts.troop_id, t.number, t.number_key, t.name, ts.first_season,
                  s.answer as "answer?", s.log_seq as "log_seq?", s.rules_version as "rules_version?", s.changes_at
           from troop_season ts
           join troop t using (unit_id, troop_id)
           left join standing s using (unit_id, season_id, troop_id)
           where ts.unit_id = $1 and ts.season_id = $2 and ($3::uuid[] is null or ts.troop_id = any ($3))
             and (ts.ended_at is null or ts.ended_at > $4) and ($4::timestamptz is null or ts.began_at is null or ts.began_at <= $4)
           order by ts.troop_id"#,
        unit.0,
        season.0,
        only,
        as_of
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The numbers of every troop that has or had a place in a season.
pub(in super::super) async fn numbers(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
) -> Result<Vec<(TroopId, String)>, ApiError> {
    let rows = sqlx::query!(
        "select troop_id, t.number from troop_season ts join troop t using (unit_id, troop_id)
         where ts.unit_id = $1 and ts.season_id = $2",
        unit.0,
        season.0
    );
    let rows = rows.fetch_all(tx.db()).await?;
    Ok(rows.into_iter().map(|row| (TroopId(row.troop_id), row.number)).collect())
}

/// Locks people in the order of their ids.
pub(in super::super) async fn lock_people(tx: &mut Tx, unit: UnitId, people: &[PersonId]) -> Result<(), ApiError> {
    let people: Vec<Uuid> = people.iter().map(|person| person.0).collect();
    sqlx::query_scalar!(
        "select person_id from person where unit_id = $1 and person_id = any ($2) order by person_id for no key update",
        unit.0,
        &people
    )
    .fetch_all(tx.db())
    .await?;
    Ok(())
}

/// Locks troop seasons (all of the season without a list) in the order of their ids, and says which they are.
pub(in super::super) async fn lock_troops(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    only: Option<&[Uuid]>,
) -> Result<Vec<Uuid>, ApiError> {
    let rows = sqlx::query_scalar!(
        "select troop_id from troop_season
         where unit_id = $1 and season_id = $2 and ($3::uuid[] is null or troop_id = any ($3))
         order by troop_id for no key update",
        unit.0,
        season.0,
        only
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The troops that these people coordinate, or are proposed for, in a season.
pub(in super::super) async fn troops_of(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    people: &[PersonId],
) -> Result<Vec<Uuid>, ApiError> {
    let people: Vec<Uuid> = people.iter().map(|person| person.0).collect();
    let rows = sqlx::query_scalar!(
        "select distinct troop_id from assignment
         where unit_id = $1 and season_id = $2 and person_id = any ($3) and ended_at is null and declined_at is null
         order by troop_id",
        unit.0,
        season.0,
        &people
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A person's place in a troop.
pub(in super::super) struct PlaceRow {
    pub person_id: Uuid,
    pub troop_id: Uuid,
}

/// Where these people coordinate, or are proposed to, in a season.
pub(in super::super) async fn places_of(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    people: &[PersonId],
) -> Result<Vec<PlaceRow>, ApiError> {
    let people: Vec<Uuid> = people.iter().map(|person| person.0).collect();
    let rows = sqlx::query_as!(
        PlaceRow,
        "select person_id, troop_id from assignment
         where unit_id = $1 and season_id = $2 and person_id = any ($3) and ended_at is null and declined_at is null",
        unit.0,
        season.0,
        &people
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// An answer to be kept.
pub(in super::super) struct NewAnswer {
    pub troop_id: TroopId,
    pub answer: Value,
    pub log_seq: i64,
    pub changes_at: Option<DateTime<Utc>>,
}

/// Keeps answers, in one statement for all.
#[expect(
    clippy::as_conversions,
    reason = "query! takes an array with nulls only under this spelling; nothing converts"
)]
pub(in super::super) async fn keep(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    rules_version: i32,
    answers: Vec<NewAnswer>,
) -> Result<(), ApiError> {
    let (mut troops, mut values, mut seqs, mut changes) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for answer in answers {
        troops.push(answer.troop_id.0);
        values.push(answer.answer);
        seqs.push(answer.log_seq);
        changes.push(answer.changes_at);
    }
    sqlx::query!(
        "insert into standing (unit_id, season_id, troop_id, answer, log_seq, rules_version, changes_at)
         select $1, $2, new.troop_id, new.answer, new.log_seq, $3, new.changes_at
         from unnest($4::uuid[], $5::jsonb[], $6::bigint[], $7::timestamptz[]) as new (troop_id, answer, log_seq, changes_at)
         on conflict (unit_id, season_id, troop_id) do update set
             answer = excluded.answer, log_seq = excluded.log_seq,
             rules_version = excluded.rules_version, changes_at = excluded.changes_at",
        unit.0,
        season.0,
        rules_version,
        &troops,
        &values,
        &seqs,
        &changes as &[Option<DateTime<Utc>>]
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes the kept answer of a troop away that has no place in the season any more.
pub(in super::super) async fn forget<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troop: TroopId,
) -> Result<(), ApiError> {
    forget_troop(tx, by.unit()?, season, troop).await
}

/// Takes a troop's answer of a season away, with the place that goes.
pub(in super::super) async fn forget_troop(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troop: TroopId,
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from standing where unit_id = $1 and season_id = $2 and troop_id = $3",
        unit.0,
        season.0,
        troop.0
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// A troop season whose answer is due: changed by itself, computed by older rules, or never computed.
pub(in super::super) struct DueRow {
    pub season_id: Uuid,
    pub troop_id: Uuid,
}

/// What is due in the open seasons of a unit.
pub(in super::super) async fn due(
    tx: &mut Tx,
    unit: UnitId,
    now: DateTime<Utc>,
    rules_version: i32,
) -> Result<Vec<DueRow>, ApiError> {
    let rows = sqlx::query_as!(
        DueRow,
        "select ts.season_id, ts.troop_id
         from troop_season ts
         join season using (unit_id, season_id)
         left join standing s using (unit_id, season_id, troop_id)
         where ts.unit_id = $1 and ts.ended_at is null and season.closed_at is null
           and (s.troop_id is null or s.rules_version <> $3 or s.changes_at <= $2)
         order by ts.season_id, ts.troop_id",
        unit.0,
        now,
        rules_version
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// How far the unit's log has come, and when its last row was written.
pub(in super::super) async fn log_head(tx: &mut Tx, unit: UnitId) -> Result<(i64, DateTime<Utc>), ApiError> {
    let row = sqlx::query!("select seq, at from unit_log_head where unit_id = $1", unit.0).fetch_one(tx.db()).await?;
    Ok((row.seq, row.at))
}

/// When the unit was made: nothing was known of it before.
pub(in super::super) async fn unit_made_at(tx: &mut Tx, unit: UnitId) -> Result<DateTime<Utc>, ApiError> {
    let row = sqlx::query_scalar!("select created_at from unit where unit_id = $1", unit.0);
    Ok(row.fetch_one(tx.db()).await?)
}

/// How far the unit's log had come at an instant.
pub(in super::super) async fn log_seq_at(tx: &mut Tx, unit: UnitId, at: DateTime<Utc>) -> Result<i64, ApiError> {
    let seq = sqlx::query_scalar!(
        r#"select coalesce(max(seq), 0) as "seq!" from unit_log where unit_id = $1 and at <= $2"#,
        unit.0,
        at
    );
    Ok(seq.fetch_one(tx.db()).await?)
}
