//! Every query of accounts.

pub(super) mod email_change;
mod keys;
pub(super) mod link_request;
pub(super) mod one_person;
mod people;
pub(super) mod second_factor;
mod sessions;
pub(super) mod sign_in_link;

pub(super) use keys::{KeyRow, insert_key, keys, lock_key, revoke_key, revoke_keys};
pub use people::{address_of_another, has_account, void_invitations};
pub(super) use people::{first_manager, has_any_account};
pub(super) use sessions::{
    OpenRow, end_links, end_session, end_sessions, forget_where, insert_refresh, insert_session, lock_refresh,
    lock_session, open_sessions, prove_session, refresh_is_used, use_refresh, void_refresh,
};

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::rules::Failures;
use crate::auth::Tx;
use crate::common::ids::{AccountId, InvitationId, PersonId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};

pub(super) struct SignInRow {
    pub account_id: Uuid,
    pub password_phc: Option<String>,
    pub disabled_at: Option<DateTime<Utc>>,
}

pub(super) async fn find_for_sign_in(tx: &mut Tx, email_key: &str) -> Result<Option<SignInRow>, ApiError> {
    let row = sqlx::query_as!(
        SignInRow,
        "select account_id, password_phc, disabled_at from account where email_key = $1",
        email_key
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// The address and the password's hash of an account that is not disabled.
pub(super) async fn account_for_proof(
    tx: &mut Tx,
    account: AccountId,
) -> Result<Option<(String, Option<String>)>, ApiError> {
    let row = sqlx::query!(
        "select email, password_phc from account where account_id = $1 and disabled_at is null",
        account.0
    );
    Ok(row.fetch_optional(tx.db()).await?.map(|row| (row.email, row.password_phc)))
}

/// Locks an account that is not disabled, before anything else of it, and reads the password's hash as it is from then on.
pub(super) async fn lock_password(tx: &mut Tx, account: AccountId) -> Result<Option<Option<String>>, ApiError> {
    let row = sqlx::query_scalar!(
        "select password_phc from account where account_id = $1 and disabled_at is null for no key update",
        account.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Locks what is known of earlier failures. A first one makes its row before it is looked at, so that of many tries at once
/// each sees the one before.
pub(super) async fn lock_failures(tx: &mut Tx, subject: &str) -> Result<Option<Failures>, ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into sign_in_delay (subject, window_began_at, failures, last_failed_at) values ($1, $2, 0, $2)
         on conflict (subject) do nothing",
        subject,
        now
    )
    .execute(tx.db())
    .await?;
    let found = sqlx::query_as!(
        Failures,
        "select window_began_at, failures, last_failed_at from sign_in_delay where subject = $1 for update",
        subject
    );
    Ok(found.fetch_optional(tx.db()).await?)
}

pub(super) async fn keep_failures(tx: &mut Tx, subject: &str, failures: Failures) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into sign_in_delay (subject, window_began_at, failures, last_failed_at) values ($1, $2, $3, $4)
         on conflict (subject) do update set window_began_at = $2, failures = $3, last_failed_at = $4",
        subject,
        failures.window_began_at,
        failures.failures,
        failures.last_failed_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// A right password clears the account's failures and takes back the try that was counted ahead for the address.
pub(super) async fn clear_failures(tx: &mut Tx, account: &str, address: &str) -> Result<(), ApiError> {
    sqlx::query!("delete from sign_in_delay where subject = $1", account).execute(tx.db()).await?;
    sqlx::query!("update sign_in_delay set failures = greatest(failures - 1, 0) where subject = $1", address)
        .execute(tx.db())
        .await?;
    Ok(())
}

pub(super) async fn keep_password(tx: &mut Tx, account: AccountId, phc: &str) -> Result<(), ApiError> {
    sqlx::query!("update account set password_phc = $2 where account_id = $1", account.0, phc).execute(tx.db()).await?;
    Ok(())
}

pub(super) struct InvitationRow {
    pub invitation_id: Uuid,
    pub unit_id: Option<Uuid>,
    pub person_id: Option<Uuid>,
    pub account_id: Option<Uuid>,
    pub email: String,
}

pub(super) async fn find_invitation(tx: &mut Tx, digest: &[u8]) -> Result<Option<InvitationRow>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_as!(
        InvitationRow,
        "select invitation_id, unit_id, person_id, account_id, email from invitation
         where token_sha256 = $1 and accepted_at is null and voided_at is null and expires_at > $2",
        digest,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Uses an invitation up: of many parallel tries one gets the row.
pub(super) async fn use_invitation(tx: &mut Tx, digest: &[u8]) -> Result<Option<InvitationRow>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_as!(
        InvitationRow,
        "update invitation set accepted_at = $2
         where token_sha256 = $1 and accepted_at is null and voided_at is null and expires_at > $2
         returning invitation_id, unit_id, person_id, account_id, email",
        digest,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// What a new invitation says.
pub(super) struct NewInvitation<'a> {
    pub invitation: InvitationId,
    pub person: Option<(UnitId, PersonId)>,
    pub account: Option<AccountId>,
    pub email: &'a str,
    pub digest: &'a [u8],
    pub expires_at: DateTime<Utc>,
}

/// A new invitation voids the older ones of the same person or account.
pub(super) async fn insert_invitation(tx: &mut Tx, new: NewInvitation<'_>) -> Result<(), ApiError> {
    let (now, unit, person, account) = (
        tx.real_now(),
        new.person.map(|(unit, _)| unit.0),
        new.person.map(|(_, person)| person.0),
        new.account.map(|account| account.0),
    );
    sqlx::query!(
        "update invitation set voided_at = $4 where accepted_at is null and voided_at is null
         and ((unit_id = $1 and person_id = $2) or account_id = $3)",
        unit,
        person,
        account,
        now
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "insert into invitation (invitation_id, unit_id, person_id, account_id, email, token_sha256, created_at, expires_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        new.invitation.0, unit, person, account, new.email, new.digest, now, new.expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn insert_account(
    tx: &mut Tx,
    account: AccountId,
    email: &str,
    key: &str,
    phc: Option<&str>,
    administrator: bool,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into account (account_id, email, email_key, password_phc, administrator, created_at, tokens_since)
         values ($1, $2, $3, $4, $5, $6, date_trunc('second', $6::timestamptz))",
        account.0,
        email,
        key,
        phc,
        administrator,
        now
    )
    .execute(tx.db())
    .await
    .on_constraint("account_email_unique", Code::EmailTaken)?;
    Ok(())
}

pub(super) async fn insert_membership(
    tx: &mut Tx,
    account: AccountId,
    unit: UnitId,
    person: PersonId,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into membership (account_id, unit_id, person_id, created_at) values ($1, $2, $3, $4)",
        account.0,
        unit.0,
        person.0,
        now
    )
    .execute(tx.db())
    .await
    .on_constraint("membership_pkey", Code::Conflict)
    .on_constraint("membership_person_once", Code::Conflict)?;
    Ok(())
}

pub(super) async fn account_email(tx: &mut Tx, account: AccountId) -> Result<Option<String>, ApiError> {
    let row = sqlx::query_scalar!("select email from account where account_id = $1", account.0);
    Ok(row.fetch_optional(tx.db()).await?)
}

pub(super) async fn count_accounts(tx: &mut Tx) -> Result<i64, ApiError> {
    let count = sqlx::query_scalar!(r#"select count(*) as "count!" from account where administrator"#);
    Ok(count.fetch_one(tx.db()).await?)
}

pub(super) async fn insert_reset(
    tx: &mut Tx,
    account: AccountId,
    digest: &[u8],
    expires_at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!("update reset_link set used_at = $2 where account_id = $1 and used_at is null", account.0, now)
        .execute(tx.db())
        .await?;
    sqlx::query!(
        "insert into reset_link (token_sha256, account_id, created_at, expires_at) values ($1, $2, $3, $4)",
        digest,
        account.0,
        now,
        expires_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn find_reset(tx: &mut Tx, digest: &[u8]) -> Result<Option<AccountId>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_scalar!(
        "select account_id from reset_link where token_sha256 = $1 and used_at is null and expires_at > $2",
        digest,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?.map(AccountId))
}

pub(super) async fn use_reset(tx: &mut Tx, digest: &[u8]) -> Result<Option<AccountId>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_scalar!(
        "update reset_link set used_at = $2 where token_sha256 = $1 and used_at is null and expires_at > $2 returning account_id",
        digest,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?.map(AccountId))
}

pub(super) struct MembershipRow {
    pub unit_id: Uuid,
    pub unit_name: String,
    pub person_id: Uuid,
}

pub(super) async fn memberships(tx: &mut Tx, account: AccountId) -> Result<Vec<MembershipRow>, ApiError> {
    let rows = sqlx::query_as!(
        MembershipRow,
        "select m.unit_id, u.name as unit_name, m.person_id from membership m join unit u using (unit_id)
         where m.account_id = $1 order by u.name, m.unit_id",
        account.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
