//! Choose a new password with a reset link.

use actix_web::post;
use garde::Validate;
use secrecy::SecretString;
use serde::Deserialize;
use utoipa::ToSchema;

use super::accept_invitation::check_password;
use super::sign_in::{Session, open_session};
use super::{second_factor, sql};
use crate::auth::{Public, token};
use crate::common::answer::Created;
use crate::common::body::Json;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// The secret of the reset link and the new password.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"token": "wq0r8m2rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u", "password": "four other words in a row"}))]
pub struct PasswordReset {
    /// What stands after `#` in the link.
    #[garde(length(min = 1, max = 100))]
    #[schema(min_length = 1, max_length = 100)]
    token: String,
    /// At least 15 characters.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 15, max_length = 512)]
    password: SecretString,
    /// The code of your second factor, if the account has one: the six figures that the app shows, or a recovery code.
    #[garde(length(min = 1, max = 60))]
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    code: Option<String>,
}

/// Choose a new password with a reset link.
///
/// The link works once, for 30 minutes; whoever has a second factor sends its code too. Every other sign-in of the account ends; you are signed in anew.
#[utoipa::path(tag = "accounts", request_body = PasswordReset, extensions(("x-permission" = json!("public"))), responses((status = 201, description = "The password is changed; you are signed in.", body = Session), Problems))]
#[post("/v1/password-resets/accept")]
pub async fn accept_reset(
    public: Public,
    around: Around,
    body: Json<PasswordReset>,
) -> Result<Created<Session>, ApiError> {
    let PasswordReset { token, password, code } = body.0;
    let digest = token::digest(&token);
    let mut tx = public.tx().await?;
    let account = sql::find_reset(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    let email = sql::account_email(&mut tx, account).await?.ok_or(Code::BadLink)?;
    drop(tx);
    check_password(&password, &email)?;
    let phc = around.passwords.hash(password).await?;
    let mut tx = public.tx().await?;
    sql::lock_password(&mut tx, account).await?.ok_or(Code::BadLink)?;
    // The link alone does not stand for the phone; it is used up only with both.
    let mut tx = second_factor::pass(tx, &around, account, code.as_deref()).await?;
    let account = sql::use_reset(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    sql::end_sessions(&mut tx, account, None, "password_changed").await?;
    sql::keep_password(&mut tx, account, &phc).await?;
    let session = open_session(&mut tx, &around, public.origin(), account).await?;
    tx.about("account", account);
    tx.commit_with(Created::new(&session)?.location("/v1/me")).await
}
