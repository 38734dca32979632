//! Every query of keys for scripts.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{AccountId, KeyId};
use crate::error::{ApiError, Code};

pub(in crate::accounts) struct KeyRow {
    pub key_id: Uuid,
    pub unit_id: Uuid,
    pub name: String,
    pub shown_prefix: String,
    pub permissions: Vec<String>,
    pub created_at: DateTime<Utc>,
    pub expires_at: DateTime<Utc>,
    pub last_used_at: Option<DateTime<Utc>>,
    pub revoked_at: Option<DateTime<Utc>>,
}

pub(in crate::accounts) async fn insert_key(
    tx: &mut Tx,
    account: AccountId,
    key: &KeyRow,
    digest: &[u8],
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into access_key (key_id, account_id, unit_id, name, shown_prefix, token_sha256, permissions, created_at, expires_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        key.key_id, account.0, key.unit_id, key.name, key.shown_prefix, digest, &key.permissions, key.created_at, key.expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn keys(
    tx: &mut Tx,
    (account, only): (AccountId, Option<KeyId>),
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<KeyRow>, ApiError> {
    let rows = sqlx::query_as!(
        KeyRow,
        "select key_id, unit_id, name, shown_prefix, permissions, created_at, expires_at, last_used_at, revoked_at
         from access_key
         where account_id = $1 and ($2::uuid is null or key_id > $2) and ($4::uuid is null or key_id = $4)
         order by key_id limit $3",
        account.0,
        after,
        limit,
        only.map(|key| key.0)
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Locks an own key; another account's is not found.
pub(in crate::accounts) async fn lock_key(tx: &mut Tx, account: AccountId, key: KeyId) -> Result<KeyRow, ApiError> {
    let row = sqlx::query_as!(
        KeyRow,
        "select key_id, unit_id, name, shown_prefix, permissions, created_at, expires_at, last_used_at, revoked_at
         from access_key where account_id = $1 and key_id = $2 for update",
        account.0,
        key.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

pub(in crate::accounts) async fn revoke_key(tx: &mut Tx, key: KeyId, at: DateTime<Utc>) -> Result<(), ApiError> {
    sqlx::query!("update access_key set revoked_at = $2 where key_id = $1", key.0, at).execute(tx.db()).await?;
    Ok(())
}

/// Revokes every key of an account that works; says how many it were.
pub(in crate::accounts) async fn revoke_keys(tx: &mut Tx, account: AccountId) -> Result<u64, ApiError> {
    let now = tx.real_now();
    let revoked = sqlx::query!(
        "update access_key set revoked_at = $2 where account_id = $1 and revoked_at is null and expires_at > $2",
        account.0,
        now
    );
    Ok(revoked.execute(tx.db()).await?.rows_affected())
}
