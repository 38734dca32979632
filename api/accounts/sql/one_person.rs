//! Every query of accounts whose people become one, or are erased.

use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{AccountId, UnitId};
use crate::error::ApiError;
use crate::one_person::OnePerson;

/// Gives a membership to the row that stays, if that has none; otherwise it ends.
pub(in crate::accounts) async fn move_membership(tx: &mut Tx, unit: UnitId, one: &OnePerson) -> Result<(), ApiError> {
    let held = sqlx::query!(
        "delete from membership where unit_id = $1 and person_id = $2 returning account_id, created_at",
        unit.0,
        one.from.0
    );
    let Some(held) = held.fetch_optional(tx.db()).await? else { return Ok(()) };
    sqlx::query!(
        "insert into membership (account_id, unit_id, person_id, created_at)
         select $1, $2, $3, $4 where not exists (select from membership where unit_id = $2 and person_id = $3)",
        held.account_id,
        unit.0,
        one.into.0,
        held.created_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes the link between people and their accounts away; names the accounts that have nothing left to do here.
pub(in crate::accounts) async fn unlink(
    tx: &mut Tx,
    unit: UnitId,
    people: &[Uuid],
) -> Result<Vec<AccountId>, ApiError> {
    let accounts = sqlx::query_scalar!(
        "delete from membership where unit_id = $1 and person_id = any ($2) returning account_id",
        unit.0,
        people
    );
    let accounts = accounts.fetch_all(tx.db()).await?;
    let idle = sqlx::query_scalar!(
        "select account_id from account a where account_id = any ($1) and not administrator
           and not exists (select from membership m where m.account_id = a.account_id)
         order by account_id for no key update",
        &accounts
    );
    Ok(idle.fetch_all(tx.db()).await?.into_iter().map(AccountId).collect())
}

/// Ends an account: nobody signs in with it, and its address and its keys' names are gone.
pub(in crate::accounts) async fn end_account(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    let now = tx.real_now();
    let address = format!("{account}@erased.invalid");
    sqlx::query!(
        "update account set email = $2, email_key = $2, password_phc = null, disabled_at = $3, tokens_since = $3
         where account_id = $1",
        account.0,
        address,
        now
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update session set ended_at = $2, ended_because = 'administrator' where account_id = $1 and ended_at is null",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    super::forget_where(tx, account).await?;
    sqlx::query!(
        "update access_key set name = 'erased', revoked_at = coalesce(revoked_at, $2) where account_id = $1",
        account.0,
        now
    )
    .execute(tx.db())
    .await?;
    super::end_links(tx, account).await?;
    super::second_factor::remove(tx, account).await?;
    sqlx::query!("delete from server_idempotency where principal = $1", format!("account:{account}"))
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Takes the addresses out of invitations, and ends those that are open.
pub(in crate::accounts) async fn empty_invitations(tx: &mut Tx, unit: UnitId, people: &[Uuid]) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update invitation set email = '', voided_at = case when accepted_at is null then coalesce(voided_at, $3) end
         where unit_id = $1 and person_id = any ($2)",
        unit.0,
        people,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
