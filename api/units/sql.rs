//! Every query of units.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{AccountId, GrantId, PersonId, UnitId};
use crate::error::ApiError;

/// Every unit's id, for the ticker.
///
/// # Errors
/// Database faults.
pub async fn all(tx: &mut Tx) -> Result<Vec<UnitId>, ApiError> {
    let ids = sqlx::query_scalar!("select unit_id from unit order by unit_id").fetch_all(tx.db()).await?;
    Ok(ids.into_iter().map(UnitId).collect())
}

/// What a unit is called.
///
/// # Errors
/// Database faults.
pub async fn name(tx: &mut Tx, unit: UnitId) -> Result<Option<String>, ApiError> {
    let name = sqlx::query_scalar!("select name from unit where unit_id = $1", unit.0);
    Ok(name.fetch_optional(tx.db()).await?)
}

pub(super) struct UnitRow {
    pub unit_id: Uuid,
    pub name: String,
    pub version: i64,
}

pub(super) async fn insert(tx: &mut Tx, unit: UnitId, name: &str) -> Result<(), ApiError> {
    let now = tx.now();
    sqlx::query!("insert into unit (unit_id, name, created_at, version) values ($1, $2, $3, 1)", unit.0, name, now)
        .execute(tx.db())
        .await?;
    tx.within_unit(unit).await?;
    sqlx::query!(
        "insert into unit_log_head (unit_id, seq, hash, at) values ($1, 0, decode(repeat('00', 32), 'hex'), $2)",
        unit.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The first unit manager, with role and address. The unit's log begins empty, so their facts carry number 0.
pub(super) async fn insert_manager(
    tx: &mut Tx,
    unit: UnitId,
    person: PersonId,
    names: (&str, &str),
    email: &str,
    email_key: &str,
) -> Result<(), ApiError> {
    let now = tx.now();
    sqlx::query!(
        "insert into person (unit_id, person_id, first_name, last_name, version, log_seq) values ($1, $2, $3, $4, 1, 0)",
        unit.0, person.0, names.0, names.1
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "insert into person_contact (unit_id, person_id, email, email_key, version, log_seq) values ($1, $2, $3, $4, 1, 0)",
        unit.0, person.0, email, email_key
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "insert into role_grant (unit_id, grant_id, person_id, role, from_at, log_seq) values ($1, $2, $3, 'unit_manager', $4, 0)",
        unit.0, GrantId::new().0, person.0, now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId) -> Result<Option<UnitRow>, ApiError> {
    let row = sqlx::query_as!(UnitRow, "select unit_id, name, version from unit where unit_id = $1", unit.0);
    Ok(row.fetch_optional(tx.db()).await?)
}

/// The units in which an account has a place, by id.
pub(super) async fn of_account(
    tx: &mut Tx,
    account: AccountId,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<UnitRow>, ApiError> {
    let rows = sqlx::query_as!(
        UnitRow,
        "select u.unit_id, u.name, u.version from unit u join membership m using (unit_id)
         where m.account_id = $1 and ($2::uuid is null or u.unit_id > $2) order by u.unit_id limit $3",
        account.0,
        after,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A row of a unit's log.
#[derive(Clone, Debug)]
pub struct LogRow {
    /// Its number.
    pub seq: i64,
    /// When, by the season's clock.
    pub at: DateTime<Utc>,
    /// Who.
    pub actor: String,
    /// What was done.
    pub action: String,
    /// About what, as JSON text.
    pub subjects: String,
    /// In which request.
    pub request_id: String,
}

/// The rows of a unit's log after a number, the oldest first.
///
/// # Errors
/// Database faults.
pub async fn log(tx: &mut Tx, unit: UnitId, after: i64, limit: i64) -> Result<Vec<LogRow>, ApiError> {
    let rows = sqlx::query_as!(
        LogRow,
        "select seq, at, actor, action, subjects, request_id from unit_log where unit_id = $1 and seq > $2 order by seq limit $3",
        unit.0,
        after,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The rows of a unit's log with these numbers.
///
/// # Errors
/// Database faults.
pub async fn log_at(tx: &mut Tx, unit: UnitId, seqs: &[i64]) -> Result<Vec<LogRow>, ApiError> {
    let rows = sqlx::query_as!(
        LogRow,
        "select seq, at, actor, action, subjects, request_id from unit_log where unit_id = $1 and seq = any ($2)",
        unit.0,
        seqs
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
