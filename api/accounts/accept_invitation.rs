//! Accept an invitation: with a new password, or signed in with an account that exists.

use actix_web::post;
use garde::Validate;
use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sign_in::{Session, open_session};
use super::sql::InvitationRow;
use super::{rules, sql};
use crate::auth::{Public, SignedIn, Tx, password, token};
use crate::common::answer::{Answer, Created};
use crate::common::body::Json;
use crate::common::ids::{AccountId, PersonId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// The secret of the invitation and the password that you choose.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"token": "wq0r8m2rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u", "password": "four words in a row"}))]
pub struct AcceptedInvitation {
    /// What stands after `#` in the link.
    #[garde(length(min = 1, max = 100))]
    #[schema(min_length = 1, max_length = 100)]
    token: String,
    /// At least 15 characters. Several words in a row are easy to remember.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 15, max_length = 512)]
    password: SecretString,
}

/// Accept an invitation and choose a password.
///
/// The link works once, for 72 hours. You are signed in at once. If you have an account on this server already, sign in
/// and use `join_unit` instead.
#[utoipa::path(tag = "accounts", request_body = AcceptedInvitation, extensions(("x-permission" = json!("public"))), responses((status = 201, description = "Accepted; you are signed in.", body = Session), Problems))]
#[post("/v1/invitations/accept")]
pub async fn accept_invitation(
    public: Public,
    around: Around,
    body: Json<AcceptedInvitation>,
) -> Result<Created<Session>, ApiError> {
    let AcceptedInvitation { token, password } = body.0;
    let digest = token::digest(&token);
    let mut tx = public.tx().await?;
    let invitation = sql::find_invitation(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    drop(tx);
    check_password(&password, &invitation.email)?;
    let phc = around.passwords.hash(password).await?;
    let mut tx = public.tx().await?;
    let invitation = sql::use_invitation(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    let account = take_up(&mut tx, &invitation, &phc).await?;
    let session = open_session(&mut tx, &around, public.origin(), account).await?;
    tx.about("invitation", invitation.invitation_id);
    tx.about("account", account);
    tx.commit_with(Created::new(&session)?.location("/v1/me")).await
}

/// Refuses weak passwords, saying why.
pub(super) fn check_password(password: &SecretString, email: &str) -> Result<(), ApiError> {
    match password::weakness(password, &[email]) {
        None => Ok(()),
        Some(why) => Err(ApiError::new(Code::PasswordWeak).errors(vec![FieldError::at("/password", "weak", why)])),
    }
}

/// The first administrator's account waits for its password; a person gets a new account and the place in the unit.
async fn take_up(tx: &mut Tx, invitation: &InvitationRow, phc: &str) -> Result<AccountId, ApiError> {
    if let Some(account) = invitation.account_id {
        sql::keep_password(tx, AccountId(account), phc).await?;
        return Ok(AccountId(account));
    }
    let account = AccountId::new();
    sql::insert_account(tx, account, &invitation.email, &rules::email_key(&invitation.email), Some(phc), false).await?;
    join(tx, invitation, account).await?;
    Ok(account)
}

async fn join(tx: &mut Tx, invitation: &InvitationRow, account: AccountId) -> Result<(UnitId, PersonId), ApiError> {
    let (Some(unit), Some(person)) = (invitation.unit_id, invitation.person_id) else {
        return Err(Code::BadLink.into());
    };
    let (unit, person) = (UnitId(unit), PersonId(person));
    sql::insert_membership(tx, account, unit, person).await?;
    tx.about("person", person);
    tx.also_in_log_of(unit);
    Ok((unit, person))
}

/// The secret of an invitation.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"token": "wq0r8m2rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u"}))]
pub struct InvitationToken {
    /// What stands after `#` in the link.
    #[garde(length(min = 1, max = 100))]
    #[schema(min_length = 1, max_length = 100)]
    token: String,
    /// True says that the invited address is another one of yours: otherwise an invitation is taken only by the account
    /// with its address, so that nobody takes somebody else's by a link opened on a shared device.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    my_other_address: bool,
}

/// A unit that you have joined.
#[derive(Debug, Serialize, ToSchema)]
pub struct JoinedUnit {
    /// The unit.
    pub unit_id: UnitId,
    /// Who you are there.
    pub person_id: PersonId,
}

/// Accept an invitation of another unit with the account that you are signed in with.
#[utoipa::path(tag = "accounts", request_body = InvitationToken, extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "You have joined the unit.", body = JoinedUnit), Problems))]
#[post("/v1/me/invitations/accept")]
pub async fn join_unit(signed_in: SignedIn, body: Json<InvitationToken>) -> Result<Answer<JoinedUnit>, ApiError> {
    signed_in.person_only()?;
    let mut tx = signed_in.tx()?;
    tx.replay().await?;
    let invitation = sql::use_invitation(&mut tx, &token::digest(&body.0.token)).await?.ok_or(Code::BadLink)?;
    let account = signed_in.actor().entered.account_id;
    let address = sql::account_email(&mut tx, account).await?.unwrap_or_default();
    if !body.0.my_other_address && rules::email_key(&address) != rules::email_key(&invitation.email) {
        return Err(Code::AnotherAddress.into());
    }
    let (unit_id, person_id) = join(&mut tx, &invitation, account).await?;
    tx.about("invitation", invitation.invitation_id);
    tx.about("account", account);
    tx.commit_with(Answer::new(&JoinedUnit { unit_id, person_id })?).await
}
