//! Making an invitation: for the features that know the person, and for the command line.

use chrono::{DateTime, TimeDelta, Utc};

use super::sql::{self, NewInvitation};
use crate::auth::{Tx, token};
use crate::common::ids::{AccountId, InvitationId, PersonId, UnitId};
use crate::error::ApiError;

/// An invitation, with its secret link, which is shown once.
#[derive(Clone, Debug)]
pub struct Invitation {
    /// Which one.
    pub invitation_id: InvitationId,
    /// The secret in it.
    pub token: String,
    /// Until when it can be accepted.
    pub expires_at: DateTime<Utc>,
}

/// How long an invitation can be accepted (R10).
const LASTS: TimeDelta = TimeDelta::hours(72);

/// Invites a person of a unit to sign in. Voids the person's older invitations.
///
/// # Errors
/// Database faults.
pub async fn invite(tx: &mut Tx, unit: UnitId, person: PersonId, email: &str) -> Result<Invitation, ApiError> {
    make(tx, Some((unit, person)), None, email).await
}

/// Invites an account that has no password yet.
pub(super) async fn invite_account(tx: &mut Tx, account: AccountId, email: &str) -> Result<Invitation, ApiError> {
    make(tx, None, Some(account), email).await
}

async fn make(
    tx: &mut Tx,
    person: Option<(UnitId, PersonId)>,
    account: Option<AccountId>,
    email: &str,
) -> Result<Invitation, ApiError> {
    let (secret, digest) = token::new_secret();
    let invitation = InvitationId::new();
    let expires_at = tx.real_now() + LASTS;
    sql::insert_invitation(tx, NewInvitation { invitation, person, account, email, digest: &digest, expires_at })
        .await?;
    tx.about("invitation", invitation);
    Ok(Invitation { invitation_id: invitation, token: secret, expires_at })
}
