//! Every query of roles given to people.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::GrantsChange;
use crate::auth::{Permit, Tx};
use crate::common::ids::{GrantId, PersonId, UnitId};
use crate::error::{ApiError, Code};

#[derive(Clone, Debug)]
pub(in crate::roster) struct GrantRow {
    pub grant_id: Uuid,
    pub person_id: Uuid,
    pub role: String,
    pub from_at: DateTime<Utc>,
    pub until_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// Which grants are asked for.
#[derive(Clone, Debug)]
pub(in crate::roster) struct Wanted<'a> {
    pub person: Option<PersonId>,
    pub role: Option<&'a str>,
    /// Only those that are not over at this instant.
    pub open_at: Option<DateTime<Utc>>,
    /// Only those that changed after this number of the log.
    pub since: Option<i64>,
    pub after: Option<GrantId>,
    pub limit: i64,
}

pub(in crate::roster) async fn list(tx: &mut Tx, unit: UnitId, wanted: Wanted<'_>) -> Result<Vec<GrantRow>, ApiError> {
    let rows = sqlx::query_as!(
        GrantRow,
        "select grant_id, person_id, role, from_at, until_at, ended_at from role_grant
         where unit_id = $1 and ($2::uuid is null or person_id = $2) and ($3::text is null or role = $3)
           and ($4::timestamptz is null or (ended_at is null and (until_at is null or until_at > $4)))
           and ($5::uuid is null or grant_id > $5) and ($7::bigint is null or log_seq > $7)
         order by grant_id limit $6",
        unit.0,
        wanted.person.map(|person| person.0),
        wanted.role,
        wanted.open_at,
        wanted.after.map(|grant| grant.0),
        wanted.limit,
        wanted.since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Locks a grant, and with it every other open grant of its role in the order of their ids, so that of two who end each
/// other's the second sees what the first did. What they say is to be read in the next statement.
pub(in crate::roster) async fn lock_with_its_role(
    tx: &mut Tx,
    by: &Permit<GrantsChange>,
    grant: GrantId,
) -> Result<(), ApiError> {
    sqlx::query_scalar!(
        "select grant_id from role_grant
         where unit_id = $1 and (grant_id = $2 or (ended_at is null
             and role = (select one.role from role_grant one where one.unit_id = $1 and one.grant_id = $2)))
         order by grant_id for update",
        by.unit()?.0,
        grant.0
    )
    .fetch_all(tx.db())
    .await?;
    Ok(())
}

pub(in crate::roster) async fn find(tx: &mut Tx, unit: UnitId, grant: GrantId) -> Result<GrantRow, ApiError> {
    let row = sqlx::query_as!(
        GrantRow,
        "select grant_id, person_id, role, from_at, until_at, ended_at from role_grant
         where unit_id = $1 and grant_id = $2",
        unit.0,
        grant.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

/// The people who hold a role now and without an end, by other grants than this one.
pub(in crate::roster) async fn other_lasting_holders(
    tx: &mut Tx,
    unit: UnitId,
    row: &GrantRow,
    now: DateTime<Utc>,
) -> Result<Vec<PersonId>, ApiError> {
    let people = sqlx::query_scalar!(
        "select distinct person_id from role_grant
         where unit_id = $1 and grant_id <> $2 and role = $3 and ended_at is null and until_at is null and from_at <= $4
         order by person_id",
        unit.0,
        row.grant_id,
        row.role,
        now
    );
    Ok(people.fetch_all(tx.db()).await?.into_iter().map(PersonId).collect())
}

pub(in crate::roster) async fn insert(
    tx: &mut Tx,
    by: &Permit<GrantsChange>,
    row: &GrantRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into role_grant (unit_id, grant_id, person_id, role, from_at, until_at, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7)",
        by.unit()?.0,
        row.grant_id,
        row.person_id,
        row.role,
        row.from_at,
        row.until_at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::roster) async fn end(
    tx: &mut Tx,
    by: &Permit<GrantsChange>,
    grant: GrantId,
    at: DateTime<Utc>,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update role_grant set ended_at = $3, log_seq = $4 where unit_id = $1 and grant_id = $2",
        by.unit()?.0,
        grant.0,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
