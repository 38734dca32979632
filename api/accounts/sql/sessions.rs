//! Every query of sessions and of what renews them.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{AccountId, SessionId};
use crate::error::ApiError;

pub(in crate::accounts) async fn insert_session(
    tx: &mut Tx,
    session: SessionId,
    account: AccountId,
    expires_at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into session (session_id, account_id, created_at, expires_at) values ($1, $2, $3, $4)",
        session.0,
        account.0,
        now,
        expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn insert_refresh(
    tx: &mut Tx,
    digest: &[u8],
    session: SessionId,
    expires_at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into refresh_token (token_sha256, session_id, issued_at, expires_at) values ($1, $2, $3, $4)",
        digest,
        session.0,
        now,
        expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) struct RefreshRow {
    pub session_id: Uuid,
    pub account_id: Uuid,
    pub session_expires_at: DateTime<Utc>,
    pub session_ended_at: Option<DateTime<Utc>>,
    pub disabled_at: Option<DateTime<Utc>>,
    pub expires_at: DateTime<Utc>,
    pub used_at: Option<DateTime<Utc>>,
    pub voided_at: Option<DateTime<Utc>>,
    pub successor: Option<Vec<u8>>,
}

/// Locks the session of a refresh token, so that of many parallel uses one is first; then reads the token.
pub(in crate::accounts) async fn lock_refresh(tx: &mut Tx, digest: &[u8]) -> Result<Option<RefreshRow>, ApiError> {
    let locked = sqlx::query!(
        "select s.session_id from session s where s.session_id = (select session_id from refresh_token where token_sha256 = $1) for no key update",
        digest
    );
    if locked.fetch_optional(tx.db()).await?.is_none() {
        return Ok(None);
    }
    let row = sqlx::query_as!(
        RefreshRow,
        "select r.session_id, s.account_id, s.expires_at as session_expires_at, s.ended_at as session_ended_at,
                a.disabled_at, r.expires_at, r.used_at, r.voided_at, r.successor
         from refresh_token r join session s using (session_id) join account a using (account_id) where r.token_sha256 = $1",
        digest
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

pub(in crate::accounts) async fn refresh_is_used(tx: &mut Tx, digest: &[u8]) -> Result<bool, ApiError> {
    let row = sqlx::query_scalar!(
        r#"select used_at is not null as "used!" from refresh_token where token_sha256 = $1"#,
        digest
    );
    Ok(row.fetch_optional(tx.db()).await?.unwrap_or(false))
}

pub(in crate::accounts) async fn use_refresh(tx: &mut Tx, digest: &[u8], successor: &[u8]) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update refresh_token set used_at = coalesce(used_at, $2), successor = $3 where token_sha256 = $1",
        digest,
        now,
        successor
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn void_refresh(tx: &mut Tx, digest: &[u8]) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!("update refresh_token set voided_at = $2 where token_sha256 = $1", digest, now)
        .execute(tx.db())
        .await?;
    Ok(())
}

pub(in crate::accounts) async fn end_session(tx: &mut Tx, session: SessionId, because: &str) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update session set ended_at = $2, ended_because = $3 where session_id = $1 and ended_at is null",
        session.0,
        now,
        because
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn end_sessions(tx: &mut Tx, account: AccountId, because: &str) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update session set ended_at = $2, ended_because = $3 where account_id = $1 and ended_at is null",
        account.0,
        now,
        because
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update account set tokens_since = date_trunc('second', $2::timestamptz) where account_id = $1",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
