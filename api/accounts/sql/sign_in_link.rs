//! Every query of sign-in links.

use chrono::{DateTime, Utc};

use crate::auth::Tx;
use crate::common::ids::AccountId;
use crate::error::ApiError;

/// A new link voids the older ones of the account.
pub(in crate::accounts) async fn insert(
    tx: &mut Tx,
    account: AccountId,
    digest: &[u8],
    expires_at: DateTime<Utc>,
) -> Result<(), ApiError> {
    void(tx, account).await?;
    let now = tx.real_now();
    sqlx::query!(
        "insert into sign_in_link (token_sha256, account_id, created_at, expires_at) values ($1, $2, $3, $4)",
        digest,
        account.0,
        now,
        expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn find(tx: &mut Tx, digest: &[u8]) -> Result<Option<AccountId>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_scalar!(
        "select l.account_id from sign_in_link l join account a using (account_id)
         where l.token_sha256 = $1 and l.used_at is null and l.expires_at > $2 and a.disabled_at is null",
        digest,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?.map(AccountId))
}

/// Uses a link up: of many parallel tries one gets the row.
pub(in crate::accounts) async fn take(tx: &mut Tx, digest: &[u8]) -> Result<Option<AccountId>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_scalar!(
        "update sign_in_link l set used_at = $2 from account a
         where l.token_sha256 = $1 and l.used_at is null and l.expires_at > $2
           and a.account_id = l.account_id and a.disabled_at is null
         returning l.account_id",
        digest,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?.map(AccountId))
}

pub(in crate::accounts) async fn void(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!("update sign_in_link set used_at = $2 where account_id = $1 and used_at is null", account.0, now)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Whether an account answers for so much that a link is too little to enter by.
pub(in crate::accounts) async fn answers_for_much(tx: &mut Tx, account: AccountId) -> Result<bool, ApiError> {
    let now = tx.now();
    let much = sqlx::query_scalar!(r#"select answers_for_much($1, $2) as "much!""#, account.0, now);
    Ok(much.fetch_one(tx.db()).await?)
}
