//! Every query of calendar addresses.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::{CalendarsMake, PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx};
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::one_person::{Eraser, Erasure, OnePerson, Work};

pub(super) async fn made_at(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<Option<DateTime<Utc>>, ApiError> {
    let made = sqlx::query_scalar!(
        "select made_at from calendar_address where unit_id = $1 and person_id = $2",
        unit.0,
        person.0
    );
    Ok(made.fetch_optional(tx.db()).await?)
}

pub(super) async fn put(
    tx: &mut Tx,
    by: &Permit<CalendarsMake>,
    person: PersonId,
    digest: &[u8],
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, at) = (by.unit()?, tx.logged_at());
    sqlx::query!(
        "insert into calendar_address (unit_id, person_id, secret_sha256, made_at, log_seq) values ($1, $2, $3, $4, $5)
         on conflict (unit_id, person_id) do update set secret_sha256 = $3, made_at = $4, log_seq = $5",
        unit.0,
        person.0,
        digest,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn end(
    tx: &mut Tx,
    by: &Permit<CalendarsMake>,
    person: PersonId,
) -> Result<Option<DateTime<Utc>>, ApiError> {
    let ended = sqlx::query_scalar!(
        "delete from calendar_address where unit_id = $1 and person_id = $2 returning made_at",
        by.unit()?.0,
        person.0
    );
    Ok(ended.fetch_optional(tx.db()).await?)
}

/// Whose address it is, as long as they can sign in and have a place in the unit; and which troops they coordinate.
pub(super) async fn holder(
    tx: &mut Tx,
    unit: UnitId,
    digest: &[u8],
) -> Result<Option<(PersonId, Vec<TroopId>)>, ApiError> {
    let now = tx.now();
    let row = sqlx::query!(
        r#"select c.person_id, coalesce(own.troops, '{}') as "troops!: Vec<Uuid>",
                  exists (select from role_grant g
                      where g.unit_id = c.unit_id and g.person_id = c.person_id and g.ended_at is null and g.from_at <= $3
                        and (g.until_at is null or g.until_at > $3)) as "role!"
           from calendar_address c
           left join lateral (
               select array_agg(distinct s.troop_id) as troops
               from assignment s join season using (unit_id, season_id)
               where s.unit_id = c.unit_id and s.person_id = c.person_id and s.confirmed_at is not null and s.ended_at is null
                 and s.from_at <= $3 and (s.until_at is null or s.until_at > $3)
                 and season_gives_reach(season.is_current, season.closed_at, season.ends_on, season.time_zone, $3)) own on true
           where c.unit_id = $1 and c.secret_sha256 = $2 and exists (
               select from membership m join account a using (account_id)
               where m.unit_id = c.unit_id and m.person_id = c.person_id and a.disabled_at is null)"#,
        unit.0,
        digest,
        now
    );
    let row = row.fetch_optional(tx.db()).await?.filter(|row| row.role || !row.troops.is_empty());
    Ok(row.map(|row| (PersonId(row.person_id), row.troops.into_iter().map(TroopId).collect())))
}

/// The address of a row that goes into another one ends: who has it may be somebody else.
pub(super) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleChange>, one: &'a OnePerson) -> Work<'a> {
    Box::pin(async move { forget(tx, by.unit()?, &[one.from.0]).await })
}

/// What calendars take away.
pub(super) const ERASER: Eraser =
    Eraser { columns: &["calendar_address.person_id"], erase: |tx, by, erasure| erase(tx, by, erasure) };

fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(async move { forget(tx, by.unit()?, &erasure.people).await })
}

async fn forget(tx: &mut Tx, unit: UnitId, people: &[Uuid]) -> Result<(), ApiError> {
    sqlx::query!("delete from calendar_address where unit_id = $1 and person_id = any ($2)", unit.0, people)
        .execute(tx.db())
        .await?;
    Ok(())
}
