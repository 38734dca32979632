//! Every query of sessions and of what renews them.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::auth::arrive::Origin;
use crate::common::ids::{AccountId, SessionId};
use crate::error::{ApiError, Code};

pub(in crate::accounts) async fn insert_session(
    tx: &mut Tx,
    session: SessionId,
    account: AccountId,
    expires_at: DateTime<Utc>,
    origin: &Origin,
    proved: bool,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into session (session_id, account_id, created_at, expires_at, opened_from, opened_with, proved_at)
         values ($1, $2, $3, $4, $5, $6, case when $7 then $3 else 'epoch'::timestamptz end)",
        session.0,
        account.0,
        now,
        expires_at,
        origin.address,
        origin.program,
        proved
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

/// Empties what is kept about where an account's sessions were opened, of those that are over.
pub(in crate::accounts) async fn forget_where(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update session set opened_from = null, opened_with = null
         where account_id = $1 and (ended_at is not null or expires_at <= $2) and (opened_from is not null or opened_with is not null)",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) struct OpenRow {
    pub session_id: Uuid,
    pub opened_at: DateTime<Utc>,
    pub last_used_at: DateTime<Utc>,
    pub expires_at: DateTime<Utc>,
    pub opened_from: Option<String>,
    pub opened_with: Option<String>,
}

/// The sessions of an account that can go on, and the one that asks; the newest first.
pub(in crate::accounts) async fn open_sessions(
    tx: &mut Tx,
    account: AccountId,
    asking: SessionId,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<OpenRow>, ApiError> {
    let now = tx.real_now();
    let rows = sqlx::query_as!(
        OpenRow,
        r#"select s.session_id, s.created_at as opened_at, s.expires_at, s.opened_from, s.opened_with,
                  coalesce((select max(r.issued_at) from refresh_token r where r.session_id = s.session_id), s.created_at) as "last_used_at!"
           from session s
           where s.account_id = $1 and s.ended_at is null and s.expires_at > $2 and ($4::uuid is null or s.session_id < $4)
             and (s.session_id = $3 or exists (
                 select from refresh_token r where r.session_id = s.session_id and r.used_at is null and r.voided_at is null
                 and r.expires_at > $2))
           order by s.session_id desc limit $5"#,
        account.0,
        now,
        asking.0,
        after,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A session whose user has just proved to be its owner.
pub(in crate::accounts) async fn prove_session(tx: &mut Tx, session: SessionId) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!("update session set proved_at = $2 where session_id = $1", session.0, now).execute(tx.db()).await?;
    Ok(())
}

/// Locks an own session, and says whether it lives; another account's is not found.
pub(in crate::accounts) async fn lock_session(
    tx: &mut Tx,
    account: AccountId,
    session: SessionId,
) -> Result<bool, ApiError> {
    let now = tx.real_now();
    let live = sqlx::query_scalar!(
        r#"select ended_at is null and expires_at > $3 as "live!" from session where account_id = $1 and session_id = $2 for no key update"#,
        account.0,
        session.0,
        now
    );
    live.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
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

/// Ends an account's sessions with all of their tokens, but for the one to keep, and every link that could open another one;
/// says how many sessions it were.
pub(in crate::accounts) async fn end_sessions(
    tx: &mut Tx,
    account: AccountId,
    keep: Option<SessionId>,
    because: &str,
) -> Result<u64, ApiError> {
    let now = tx.real_now();
    let ended = sqlx::query!(
        "update session set ended_at = $2, ended_because = $3
         where account_id = $1 and ended_at is null and expires_at > $2 and ($4::uuid is null or session_id <> $4)",
        account.0,
        now,
        because,
        keep.map(|session| session.0)
    )
    .execute(tx.db())
    .await?;
    // Whatever was issued before this second, should a session have slipped through; not where one is to live on.
    sqlx::query!(
        "update account set tokens_since = date_trunc('second', $2::timestamptz) where account_id = $1 and $3",
        account.0,
        now,
        keep.is_none()
    )
    .execute(tx.db())
    .await?;
    end_links(tx, account).await?;
    Ok(ended.rows_affected())
}

/// Voids every open link by which an account could be entered or its password chosen.
pub(in crate::accounts) async fn end_links(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    super::email_change::void(tx, account).await?;
    super::sign_in_link::void(tx, account).await?;
    let now = tx.real_now();
    sqlx::query!("update reset_link set used_at = $2 where account_id = $1 and used_at is null", account.0, now)
        .execute(tx.db())
        .await?;
    sqlx::query!(
        "update invitation set voided_at = $2 where account_id = $1 and accepted_at is null and voided_at is null",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
