//! Move an account to another e-mail address: asked for signed in, confirmed by a link that only the new address gets.

use actix_web::post;
use chrono::{DateTime, TimeDelta, Utc};
use garde::Validate;
use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sql::email_change as email_sql;
use super::{proof, rules, sql};
use crate::auth::{Public, SignedIn, token};
use crate::common::answer::{Answer, Created};
use crate::common::body::Json;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::mail::account::{self as account_mail, AccountMail};
use crate::server::run::Around;

/// How long the new address can be confirmed.
const LASTS: TimeDelta = TimeDelta::hours(24);

/// The new address, and the proof that it is you who asks.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "imani.c@example.org", "password": "four words in a row"}))]
pub struct NewEmail {
    /// The address with which you want to sign in.
    #[garde(length(min = 3, max = 254))]
    #[schema(min_length = 3, max_length = 254)]
    email: String,
    /// Your password.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 1, max_length = 512)]
    password: SecretString,
}

/// A change of address that waits to be confirmed.
#[derive(Debug, Serialize, ToSchema)]
pub struct WaitingEmail {
    /// The new address. Until it is confirmed you sign in with the one that you have.
    #[schema(max_length = 254, example = "imani.c@example.org")]
    pub email: String,
    /// The link that confirms it, shown once: on a server that sends no mail. Null where it went to the new address.
    #[schema(required = true, max_length = 400)]
    pub email_link: Option<String>,
    /// Until when it works.
    pub expires_at: DateTime<Utc>,
}

/// Ask for another e-mail address to sign in with.
///
/// Nothing changes until the link is opened and confirmed there (`accept_email`), within 24 hours. A newer request voids the
/// older one. What a unit knows of you as your contact address is another thing: the unit changes it (`change_contact`).
#[utoipa::path(tag = "accounts", request_body = NewEmail, extensions(("x-permission" = json!("signed_in"))), responses((status = 201, description = "It waits to be confirmed.", body = WaitingEmail), Problems))]
#[post("/v1/me/email")]
pub async fn change_email(
    signed_in: SignedIn,
    around: Around,
    body: Json<NewEmail>,
) -> Result<Created<WaitingEmail>, ApiError> {
    let NewEmail { email, password } = body.0;
    let email = email.trim().to_owned();
    let (tx, asking) = proof::asking(&signed_in).await?;
    let fault = rules::email_fault(&email).map(|why| ("not_an_address", why));
    let same = rules::email_key(&email) == rules::email_key(&asking.email);
    let fault = fault.or(same.then_some(("the_same", "another address than the one that you sign in with now")));
    if let Some((code, why)) = fault {
        return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/email", code, why)]));
    }
    let (account, present) = (asking.account, asking.email.clone());
    let mut tx = proof::password(tx, asking, &signed_in, &around, password).await?.go_on(&around).await?;
    let (secret, digest) = token::new_secret();
    let expires_at = tx.real_now() + LASTS;
    email_sql::insert(&mut tx, account, &email, &digest, expires_at).await?;
    tx.about("account", account);
    let link = around.email_link(&secret);
    let mailed = around.mail.of_server().is_some();
    if mailed {
        let seal = &around.seal;
        account_mail::write(&mut tx, seal, account, (AccountMail::EmailChange, &email), (Some(&link), expires_at))
            .await?;
        // Whoever reads the address that is used so far learns of it too.
        account_mail::write(&mut tx, seal, account, (AccountMail::EmailChanging, &present), (None, expires_at)).await?;
    }
    let waiting = WaitingEmail { email, email_link: Some(link).filter(|_| !mailed), expires_at };
    tx.commit_with_secret(Created::new(&waiting)?.location("/v1/me")).await
}

/// The secret of the link.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"token": "wq0r8m2rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u"}))]
pub struct ConfirmedEmail {
    /// What stands after `#` in the link.
    #[garde(length(min = 1, max = 100))]
    #[schema(min_length = 1, max_length = 100)]
    token: String,
}

/// An address that was confirmed.
#[derive(Debug, Serialize, ToSchema)]
pub struct ChangedEmail {
    /// From now on you sign in with it.
    #[schema(max_length = 254, example = "imani.c@example.org")]
    pub email: String,
}

/// Confirm a new e-mail address with the link that was sent to it.
///
/// The link works once, for 24 hours. From then on the account signs in with the new address; every other open link of the
/// account, such as one for a new password, ends, since it went to the old one. Sessions go on.
#[utoipa::path(tag = "accounts", request_body = ConfirmedEmail, extensions(("x-permission" = json!("public"))), responses((status = 200, description = "The address is changed.", body = ChangedEmail), Problems))]
#[post("/v1/email-changes/accept")]
pub async fn accept_email(public: Public, body: Json<ConfirmedEmail>) -> Result<Answer<ChangedEmail>, ApiError> {
    let digest = token::digest(&body.0.token);
    let mut tx = public.tx().await?;
    let (account, email) = email_sql::take(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    email_sql::keep(&mut tx, account, &email, &rules::email_key(&email)).await?;
    sql::end_links(&mut tx, account).await?;
    tx.about("account", account);
    tx.commit_with(Answer::new(&ChangedEmail { email })?).await
}
