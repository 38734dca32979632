//! Every query of second factors and recovery codes.

use chrono::{DateTime, Utc};

use crate::auth::Tx;
use crate::common::ids::AccountId;
use crate::error::ApiError;

pub(in crate::accounts) struct FactorRow {
    pub secret_sealed: Vec<u8>,
    pub confirmed_at: Option<DateTime<Utc>>,
    pub last_step: Option<i64>,
    pub failures: i32,
    pub last_failed_at: Option<DateTime<Utc>>,
}

/// Locks the account's second factor, confirmed or not: of many parallel tries each sees what the one before left.
pub(in crate::accounts) async fn lock(tx: &mut Tx, account: AccountId) -> Result<Option<FactorRow>, ApiError> {
    let row = sqlx::query_as!(
        FactorRow,
        "select secret_sealed, confirmed_at, last_step, failures, last_failed_at from second_factor where account_id = $1 for update",
        account.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// A seed that waits for its first code; an older one that waited is replaced.
pub(in crate::accounts) async fn begin(tx: &mut Tx, account: AccountId, sealed: &[u8]) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!("delete from second_factor where account_id = $1 and confirmed_at is null", account.0)
        .execute(tx.db())
        .await?;
    sqlx::query!(
        "insert into second_factor (account_id, secret_sealed, created_at, failures) values ($1, $2, $3, 0)",
        account.0,
        sealed,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// A right code: it is taken, wrong ones are forgotten, and the first one confirms.
pub(in crate::accounts) async fn take(tx: &mut Tx, account: AccountId, step: Option<i64>) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update second_factor set last_step = coalesce($2, last_step), failures = 0, last_failed_at = null,
             confirmed_at = coalesce(confirmed_at, $3) where account_id = $1",
        account.0,
        step,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn count_failure(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update second_factor set failures = failures + 1, last_failed_at = $2 where account_id = $1",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes a recovery code, if it is one that was not used.
pub(in crate::accounts) async fn use_recovery(
    tx: &mut Tx,
    account: AccountId,
    digest: &[u8],
) -> Result<bool, ApiError> {
    let now = tx.real_now();
    let used = sqlx::query!(
        "update recovery_code set used_at = $3 where account_id = $1 and code_sha256 = $2 and used_at is null",
        account.0,
        digest,
        now
    );
    Ok(used.execute(tx.db()).await?.rows_affected() == 1)
}

/// New recovery codes; the older ones are gone.
pub(in crate::accounts) async fn replace_recovery(
    tx: &mut Tx,
    account: AccountId,
    digests: &[Vec<u8>],
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!("delete from recovery_code where account_id = $1", account.0).execute(tx.db()).await?;
    sqlx::query!(
        "insert into recovery_code (code_sha256, account_id, created_at) select unnest($1::bytea[]), $2, $3",
        digests,
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::accounts) async fn recovery_left(tx: &mut Tx, account: AccountId) -> Result<i64, ApiError> {
    let left = sqlx::query_scalar!(
        r#"select count(*) as "left!" from recovery_code where account_id = $1 and used_at is null"#,
        account.0
    );
    Ok(left.fetch_one(tx.db()).await?)
}

/// Takes the second factor and its recovery codes away.
pub(in crate::accounts) async fn remove(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    sqlx::query!("delete from recovery_code where account_id = $1", account.0).execute(tx.db()).await?;
    sqlx::query!("delete from second_factor where account_id = $1", account.0).execute(tx.db()).await?;
    Ok(())
}
