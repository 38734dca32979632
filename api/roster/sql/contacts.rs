//! Every query of the people of a troop who are not its coordinators.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::ApiError;

#[derive(Clone, Debug)]
pub(in crate::roster) struct TroopContactRow {
    pub troop_id: Uuid,
    pub person_id: Uuid,
    pub duty: String,
    pub from_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

pub(in crate::roster) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    troop: TroopId,
    since: Option<i64>,
    (after, limit): (Option<(PersonId, String)>, i64),
) -> Result<Vec<TroopContactRow>, ApiError> {
    let (person, duty) = after.map(|(person, duty)| (person.0, duty)).unzip();
    let rows = sqlx::query_as!(
        TroopContactRow,
        "select troop_id, person_id, duty, from_at, ended_at from troop_contact
         where unit_id = $1 and troop_id = $2 and ($3::uuid is null or (person_id, duty) > ($3, $4::text))
           and ($6::bigint is null or log_seq > $6)
         order by person_id, duty limit $5",
        unit.0,
        troop.0,
        person,
        duty,
        limit,
        since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in crate::roster) async fn lock<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    troop: TroopId,
    person: PersonId,
    duty: &str,
) -> Result<Option<TroopContactRow>, ApiError> {
    let row = sqlx::query_as!(
        TroopContactRow,
        "select troop_id, person_id, duty, from_at, ended_at from troop_contact
         where unit_id = $1 and troop_id = $2 and person_id = $3 and duty = $4 for update",
        by.unit()?.0,
        troop.0,
        person.0,
        duty
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Whether the troop exists in the unit.
pub(in crate::roster) async fn troop_exists(tx: &mut Tx, unit: UnitId, troop: TroopId) -> Result<bool, ApiError> {
    let found = sqlx::query_scalar!("select troop_id from troop where unit_id = $1 and troop_id = $2", unit.0, troop.0);
    Ok(found.fetch_optional(tx.db()).await?.is_some())
}

/// Writes a duty that somebody takes on, or takes on again.
pub(in crate::roster) async fn keep<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    row: &TroopContactRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, ended_at, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7)
         on conflict (unit_id, troop_id, person_id, duty) do update set ended_at = $6, log_seq = $7",
        by.unit()?.0,
        row.troop_id,
        row.person_id,
        row.duty,
        row.from_at,
        row.ended_at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
