//! Ask for a link by mail: for a new password, or to sign in once.

use actix_web::post;
use chrono::TimeDelta;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::rules;
use super::sql::{self, link_request};
use crate::auth::seal::Seal;
use crate::auth::{Public, System, Tx, token};
use crate::common::answer::Accepted;
use crate::common::body::Json;
use crate::common::ids::AccountId;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::mail::account::{self, AccountMail};
use crate::server::run::Around;

/// How often one sender may ask in an hour (R04).
const BY_SENDER: i64 = 10;

/// How many mails one address gets in an hour (R04).
const BY_ADDRESS: i64 = 3;

/// Whose link.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "clara.fontaine@example.org"}))]
pub struct LinkWanted {
    /// The address with which you sign in.
    #[garde(length(min = 3, max = 254))]
    #[schema(min_length = 3, max_length = 254)]
    email: String,
}

/// What comes of it.
#[derive(Debug, Serialize, ToSchema)]
pub struct LinkAsked {
    /// Whether this server sends mail at all. Whether the address has an account is not told.
    pub mail_server: bool,
    /// What to do next, in a sentence.
    #[schema(max_length = 300)]
    pub in_words: String,
}

async fn ask(
    public: &Public,
    around: &Around,
    wanted: LinkWanted,
    kind: AccountMail,
) -> Result<Accepted<LinkAsked>, ApiError> {
    let email = wanted.email.trim().to_owned();
    if let Some(fault) = rules::email_fault(&email) {
        return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/email", "not_an_address", fault)]));
    }
    let mail_server = around.mail.of_server().is_some();
    let mut tx = public.tx().await?;
    let (now, sender) = (tx.real_now(), public.origin().address.clone());
    link_request::hold_sender(&mut tx, &sender).await?;
    if link_request::asked_by(&mut tx, &sender, now - TimeDelta::hours(1)).await? >= BY_SENDER {
        let detail = "Ten links were asked for from here within an hour. Look into the mailbox (and among the unwanted mail), or try again later.";
        return Err(ApiError::new(Code::SignInDelayed).detail(detail).retry_after(600));
    }
    if mail_server {
        link_request::insert(&mut tx, kind.word(), &rules::email_key(&email), &sender, now).await?;
    }
    let in_words = if mail_server {
        "If the address has an account here, a message with a link is on its way. It can take a minute; look among the unwanted mail too."
    } else {
        "This server sends no mail. Ask your unit manager, or whoever runs the server, for a link."
    };
    let asked = LinkAsked { mail_server, in_words: in_words.to_owned() };
    tx.commit_with(Accepted::new(&asked)?).await
}

/// Ask for a link for a new password, by mail.
///
/// The answer is the same whether the address has an account or not. The link works once, for 30 minutes, and the password that
/// there is stays until it is used. An address gets three such messages in an hour at most.
#[utoipa::path(tag = "accounts", request_body = LinkWanted, extensions(("x-permission" = json!("public"))), responses((status = 202, description = "If there is such an account, a message is on its way.", body = LinkAsked), Problems))]
#[post("/v1/password-resets")]
pub async fn ask_for_reset(
    public: Public,
    around: Around,
    body: Json<LinkWanted>,
) -> Result<Accepted<LinkAsked>, ApiError> {
    ask(&public, &around, body.0, AccountMail::PasswordReset).await
}

/// Ask for a link that signs you in once, by mail: for whoever answers for little, such as a troop coordinator.
///
/// The answer is the same whether the address has an account or not. The link works once, for 15 minutes. Whoever administers
/// the server, or manages or oversees a unit, signs in with a password and a second factor and gets none.
#[utoipa::path(tag = "accounts", request_body = LinkWanted, extensions(("x-permission" = json!("public"))), responses((status = 202, description = "If there is such an account, a message is on its way.", body = LinkAsked), Problems))]
#[post("/v1/sign-in-links")]
pub async fn ask_for_sign_in_link(
    public: Public,
    around: Around,
    body: Json<LinkWanted>,
) -> Result<Accepted<LinkAsked>, ApiError> {
    ask(&public, &around, body.0, AccountMail::SignInLink).await
}

/// Looks at what was asked for, and writes the messages: for the worker that sends them.
///
/// # Errors
/// Database faults.
pub async fn answer_link_requests(system: &System, seal: &Seal, own_address: &str) -> Result<(), ApiError> {
    loop {
        let mut tx = system.open(None, "send_account_link").await?;
        let Some(request) = link_request::take(&mut tx).await? else { return Ok(()) };
        let written = answer(&mut tx, seal, own_address, &request).await?;
        if written { tx.commit().await? } else { tx.commit_unlogged().await? }
    }
}

/// Forgets what was asked for more than a day ago.
///
/// # Errors
/// Database faults.
pub async fn forget_link_requests(tx: &mut Tx) -> Result<(), ApiError> {
    let before = tx.real_now() - TimeDelta::days(1);
    link_request::forget(tx, before).await
}

async fn answer(tx: &mut Tx, seal: &Seal, own_address: &str, request: &link_request::Taken) -> Result<bool, ApiError> {
    let Some(kind) = AccountMail::of(&request.kind) else { return Ok(false) };
    let since = tx.real_now() - TimeDelta::hours(1);
    if link_request::answered_to(tx, request, since).await? > BY_ADDRESS {
        return Ok(false);
    }
    let row = sql::find_for_sign_in(tx, &request.email_key).await?.filter(|row| row.disabled_at.is_none());
    let Some(row) = row else { return Ok(false) };
    let account = AccountId(row.account_id);
    if sql::lock_password(tx, account).await?.is_none() {
        return Ok(false);
    }
    let Some(email) = sql::account_email(tx, account).await? else { return Ok(false) };
    let (secret, digest) = token::new_secret();
    let (page, lasts) = match kind {
        AccountMail::PasswordReset => ("reset", TimeDelta::minutes(30)),
        AccountMail::SignInLink if sql::sign_in_link::answers_for_much(tx, account).await? => return Ok(false),
        AccountMail::SignInLink => ("sign-in", TimeDelta::minutes(15)),
        AccountMail::EmailChange | AccountMail::EmailChanging => return Ok(false),
    };
    let expires_at = tx.real_now() + lasts;
    if kind == AccountMail::PasswordReset {
        sql::insert_reset(tx, account, &digest, expires_at).await?;
    } else {
        sql::sign_in_link::insert(tx, account, &digest, expires_at).await?;
    }
    let link = format!("{own_address}/{page}#{secret}");
    account::write(tx, seal, account, (kind, &email), (Some(&link), expires_at)).await?;
    tx.about("account", account);
    Ok(true)
}
