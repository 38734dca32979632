//! Choose another password, signed in.

use actix_web::post;
use garde::Validate;
use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::accept_invitation::check_password;
use super::{proof, sql};
use crate::auth::SignedIn;
use crate::common::answer::Answer;
use crate::common::body::Json;
use crate::error::{ApiError, Problems};
use crate::server::run::Around;

/// The password that you have and the one that you want.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"current_password": "four words in a row", "password": "four other words in a row"}))]
pub struct PasswordChange {
    /// The password that you have now.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 1, max_length = 512)]
    current_password: SecretString,
    /// The new one: at least 15 characters. Several words in a row are easy to remember.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 15, max_length = 512)]
    password: SecretString,
}

/// A changed password.
#[derive(Debug, Serialize, ToSchema)]
pub struct ChangedPassword {
    /// How many other sessions ended with the old one.
    pub ended_sessions: u64,
}

/// Choose another password.
///
/// The old one ends, and with it every other session of yours and every open link to your account. This session goes on, and so
/// do keys for scripts (`end_all_sessions` ends those too).
#[utoipa::path(tag = "accounts", request_body = PasswordChange, extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "The password is changed.", body = ChangedPassword), Problems))]
#[post("/v1/me/password")]
pub async fn change_password(
    signed_in: SignedIn,
    around: Around,
    body: Json<PasswordChange>,
) -> Result<Answer<ChangedPassword>, ApiError> {
    let PasswordChange { current_password, password } = body.0;
    let (tx, asking) = proof::asking(&signed_in).await?;
    check_password(&password, &asking.email)?;
    let (account, session) = (asking.account, asking.session);
    let proven = proof::password(tx, asking, &signed_in, &around, current_password).await?;
    let phc = around.passwords.hash(password).await?;
    let mut tx = proven.go_on(&around).await?;
    sql::keep_password(&mut tx, account, &phc).await?;
    let ended_sessions = sql::end_sessions(&mut tx, account, Some(session), "password_changed").await?;
    tx.about("account", account);
    tx.commit_with(Answer::new(&ChangedPassword { ended_sessions })?).await
}
