//! What the command line does with accounts: the first administrator, and links to print.

use chrono::TimeDelta;

use super::invite::{invite, invite_account};
use super::{rules, sql};
use crate::auth::{System, token};
use crate::common::ids::{AccountId, UnitId};
use crate::error::{ApiError, Code};

/// Makes the first administrator's account and gives the secret of its invitation. A fresh install has no login at all
/// until this link is used.
///
/// # Errors
/// 409 if there is an administrator already, or the address has an account.
pub async fn first_administrator(system: &System, email: &str) -> Result<String, ApiError> {
    if let Some(fault) = rules::email_fault(email) {
        return Err(ApiError::new(Code::Invalid).detail(fault));
    }
    let mut tx = system.open(None, "first_administrator").await?;
    if sql::count_accounts(&mut tx).await? > 0 {
        return Err(ApiError::new(Code::Conflict)
            .detail("There is an account already, so the first administrator's link is not made again. For a new password: caselot account reset-link --email with the administrator's address. If the first link was lost before it was used, that helps too."));
    }
    let account = AccountId::new();
    sql::insert_account(&mut tx, account, email.trim(), &rules::email_key(email), None, true).await?;
    let invitation = invite_account(&mut tx, account, email.trim()).await?;
    tx.about("account", account);
    tx.commit().await?;
    Ok(invitation.token)
}

/// Gives the secret of a new invitation for a unit's manager, as long as nobody of the unit has an account: the link that
/// came with the unit was lost. The older one is void.
///
/// # Errors
/// 404 for an unknown unit; 409 once somebody of it can sign in.
pub async fn unit_manager(system: &System, unit: UnitId) -> Result<String, ApiError> {
    let mut tx = system.open(Some(unit), "invite_unit_manager").await?;
    if sql::has_any_account(&mut tx, unit).await? {
        return Err(ApiError::new(Code::Conflict).detail("Somebody of this unit can sign in already: its unit manager invites the others (invite_person). For a new password: caselot account reset-link --email with their address."));
    }
    let (person, email) = sql::first_manager(&mut tx, unit).await?.ok_or(Code::NotFound)?;
    let invitation = invite(&mut tx, unit, person, &email).await?;
    tx.about("person", person);
    tx.commit().await?;
    Ok(invitation.token)
}

/// Gives the secret of a reset link for the account with this address.
///
/// # Errors
/// 404 if there is none.
pub async fn reset_link(system: &System, email: &str) -> Result<String, ApiError> {
    let mut tx = system.open(None, "reset_link").await?;
    let row = sql::find_for_sign_in(&mut tx, &rules::email_key(email)).await?.ok_or(Code::NotFound)?;
    let account = AccountId(row.account_id);
    let (secret, digest) = token::new_secret();
    let expires_at = tx.real_now() + TimeDelta::minutes(30);
    sql::insert_reset(&mut tx, account, &digest, expires_at).await?;
    tx.about("account", account);
    tx.commit().await?;
    Ok(secret)
}

/// Gives the secret of a link with which the account with this address signs in once.
///
/// # Errors
/// 404 if there is none; 409 for whoever administers the server, or manages or oversees a unit.
pub async fn sign_in_link(system: &System, email: &str) -> Result<String, ApiError> {
    let mut tx = system.open(None, "sign_in_link").await?;
    let row = sql::find_for_sign_in(&mut tx, &rules::email_key(email)).await?.filter(|row| row.disabled_at.is_none());
    let account = AccountId(row.ok_or(Code::NotFound)?.account_id);
    if sql::sign_in_link::answers_for_much(&mut tx, account).await? {
        return Err(ApiError::new(Code::Conflict).detail("This account administers the server, or manages or oversees a unit: it signs in with its password and second factor. If the password is forgotten: caselot account reset-link."));
    }
    let (secret, digest) = token::new_secret();
    let expires_at = tx.real_now() + TimeDelta::minutes(15);
    sql::sign_in_link::insert(&mut tx, account, &digest, expires_at).await?;
    tx.about("account", account);
    tx.commit().await?;
    Ok(secret)
}

/// Takes the second factor of the account with this address away: phone and recovery codes are lost. Every session ends.
///
/// # Errors
/// 404 if there is no such account.
pub async fn remove_second_factor(system: &System, email: &str) -> Result<(), ApiError> {
    let mut tx = system.open(None, "remove_second_factor").await?;
    let row = sql::find_for_sign_in(&mut tx, &rules::email_key(email)).await?.ok_or(Code::NotFound)?;
    let account = AccountId(row.account_id);
    sql::lock_password(&mut tx, account).await?.ok_or(Code::NotFound)?;
    sql::second_factor::remove(&mut tx, account).await?;
    sql::end_sessions(&mut tx, account, None, "second_factor_changed").await?;
    tx.about("account", account);
    tx.commit().await
}
