//! Every query of changes of an account's address.

use chrono::{DateTime, Utc};

use crate::auth::Tx;
use crate::common::ids::AccountId;
use crate::error::{ApiError, Code, OnConstraint as _};

/// A new link voids the account's older ones.
pub(in crate::accounts) async fn insert(
    tx: &mut Tx,
    account: AccountId,
    email: &str,
    digest: &[u8],
    expires_at: DateTime<Utc>,
) -> Result<(), ApiError> {
    void(tx, account).await?;
    let now = tx.real_now();
    sqlx::query!(
        "insert into email_change (token_sha256, account_id, email, created_at, expires_at) values ($1, $2, $3, $4, $5)",
        digest,
        account.0,
        email,
        now,
        expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Voids the account's open links.
pub(in crate::accounts) async fn void(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update email_change set used_at = $2, email = null where account_id = $1 and used_at is null",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Uses a link up: of many parallel tries one gets the address.
pub(in crate::accounts) async fn take(tx: &mut Tx, digest: &[u8]) -> Result<Option<(AccountId, String)>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query!(
        r#"select e.account_id, e.email as "email!" from email_change e join account a using (account_id)
           where e.token_sha256 = $1 and e.used_at is null and e.expires_at > $2 and a.disabled_at is null
           for update of e"#,
        digest,
        now
    );
    let Some(row) = row.fetch_optional(tx.db()).await? else { return Ok(None) };
    sqlx::query!("update email_change set used_at = $2, email = null where token_sha256 = $1", digest, now)
        .execute(tx.db())
        .await?;
    Ok(Some((AccountId(row.account_id), row.email)))
}

/// The address from now on.
pub(in crate::accounts) async fn keep(tx: &mut Tx, account: AccountId, email: &str, key: &str) -> Result<(), ApiError> {
    sqlx::query!("update account set email = $2, email_key = $3 where account_id = $1", account.0, email, key)
        .execute(tx.db())
        .await
        .on_constraint("account_email_unique", Code::EmailTaken)?;
    Ok(())
}
