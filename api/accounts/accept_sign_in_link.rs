//! Sign in once with a link, without the password.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::second_factor;
use super::sign_in::{Session, open_unproved};
use super::sql::lock_password;
use super::sql::sign_in_link as sql;
use crate::auth::{Public, token};
use crate::common::answer::Created;
use crate::common::body::Json;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// The secret of the link.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"token": "wq0r8m2rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u"}))]
pub struct SignInLink {
    /// What stands after `#` in the link.
    #[garde(length(min = 1, max = 100))]
    #[schema(min_length = 1, max_length = 100)]
    token: String,
    /// The code of your second factor, if the account has one: the six figures that the app shows, or a recovery code.
    #[garde(length(min = 1, max = 60))]
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    code: Option<String>,
}

/// Sign in with a link instead of the password.
///
/// The link works once, for 15 minutes, and not for whoever administers the server or manages or oversees a unit. It proves
/// less than the password: what asks for a proof (`x-stepup`) asks whoever came by it for the password first
/// (`confirm_session`).
#[utoipa::path(tag = "accounts", request_body = SignInLink, extensions(("x-permission" = json!("public"))), responses((status = 201, description = "You are signed in.", body = Session), Problems))]
#[post("/v1/sign-in-links/accept")]
pub async fn accept_sign_in_link(
    public: Public,
    around: Around,
    body: Json<SignInLink>,
) -> Result<Created<Session>, ApiError> {
    let SignInLink { token, code } = body.0;
    let digest = token::digest(&token);
    let mut tx = public.tx().await?;
    let account = sql::find(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    // Before the link: whoever ends an account's links and sessions locks it too, and must find this one of either.
    lock_password(&mut tx, account).await?.ok_or(Code::BadLink)?;
    if sql::answers_for_much(&mut tx, account).await? {
        return Err(Code::BadLink.into());
    }
    // The link alone does not stand for the phone; it is used up only with both.
    let mut tx = second_factor::pass(tx, &around, account, code.as_deref()).await?;
    let account = sql::take(&mut tx, &digest).await?.ok_or(Code::BadLink)?;
    let session = open_unproved(&mut tx, &around, public.origin(), account).await?;
    tx.about("account", account);
    tx.about("session", session.session_id);
    tx.commit_with(Created::new(&session)?.location("/v1/me")).await
}
