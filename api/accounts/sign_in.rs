//! Sign in with e-mail and password.

use actix_web::post;
use chrono::TimeDelta;
use garde::Validate;
use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::proof::{self, Tried};
use super::{rules, second_factor, sql};
use crate::auth::arrive::Origin;
use crate::auth::password::Verdict;
use crate::auth::{Public, Tx, token};
use crate::common::answer::Created;
use crate::common::body::Json;
use crate::common::ids::{AccountId, SessionId};
use crate::error::{ApiError, Code, Problems};
use crate::server::run::{Around, Surroundings};

/// How long a session lasts in all, and how long it may lie unused (R08).
const SESSION_LASTS: TimeDelta = TimeDelta::days(30);
pub(super) const REFRESH_LASTS: TimeDelta = TimeDelta::days(7);

/// E-mail and password.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[garde(context(()))]
#[schema(example = json!({"email": "imani.castellanos@example.org", "password": "four words in a row"}))]
pub struct Credentials {
    /// The address that the invitation went to.
    #[garde(length(min = 3, max = 254))]
    #[schema(min_length = 3, max_length = 254)]
    email: String,
    /// The password.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 1, max_length = 512)]
    password: SecretString,
    /// The code of your second factor, if the account has one: the six figures that the app shows, or a recovery code.
    #[garde(length(min = 1, max = 60))]
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    code: Option<String>,
}

/// A new sign-in. The access token opens everything for ten minutes; the refresh token gets the next one, once.
#[derive(Debug, Serialize, ToSchema)]
pub struct Session {
    /// The session.
    pub session_id: SessionId,
    /// Send it as `Authorization: Bearer ...`.
    #[schema(max_length = 4096)]
    pub access_token: String,
    /// How many seconds it lasts.
    #[schema(example = 600)]
    pub access_expires_in: i64,
    /// Send it to `refresh_session` before then. It works once.
    #[schema(max_length = 100)]
    pub refresh_token: String,
}

/// Sign in with e-mail and password.
///
/// An unknown address, a wrong password and a disabled account look the same. After failures the next try must wait:
/// `Retry-After` says how long. Whoever has a second factor sends its code too; without it a right password is answered by
/// `second_factor_needed`.
#[utoipa::path(tag = "accounts", request_body = Credentials, extensions(("x-permission" = json!("public"))), responses((status = 201, description = "You are signed in.", body = Session), Problems))]
#[post("/v1/sessions")]
pub async fn sign_in(public: Public, around: Around, body: Json<Credentials>) -> Result<Created<Session>, ApiError> {
    let Credentials { email, password, code } = body.0;
    let key = rules::email_key(&email);
    let tried = Tried::of(&key, &public.origin().address);
    let known = count_try(&public, &key, &tried).await?;
    let phc = known.as_ref().filter(|row| row.disabled_at.is_none()).and_then(|row| row.password_phc.clone());
    let verdict = around.passwords.verify(password, phc.clone()).await?;
    let (Some(row), true) = (known, verdict != Verdict::Wrong) else { return Err(Code::BadCredentials.into()) };
    let account = AccountId(row.account_id);
    let mut tx = public.tx().await?;
    // While the password was looked at it may have been changed, and every session of it ended: a new one must not slip through.
    if sql::lock_password(&mut tx, account).await? != Some(phc) {
        return Err(Code::BadCredentials.into());
    }
    sql::clear_failures(&mut tx, &tried.account, &tried.sender).await?;
    if let Verdict::RightRehashed(phc) = verdict {
        sql::keep_password(&mut tx, account, &phc).await?;
    }
    let mut tx = second_factor::pass(tx, &around, account, code.as_deref()).await?;
    let session = open_session(&mut tx, &around, public.origin(), account).await?;
    tx.about("account", account);
    tx.about("session", session.session_id);
    tx.commit_with(Created::new(&session)?.location("/v1/me")).await
}

/// Counts the try, and reads the account if there is one.
async fn count_try(public: &Public, key: &str, tried: &Tried) -> Result<Option<sql::SignInRow>, ApiError> {
    let mut tx = public.tx().await?;
    proof::count_try(&mut tx, tried).await?;
    let row = sql::find_for_sign_in(&mut tx, key).await?;
    tx.commit_unlogged().await?;
    Ok(row)
}

/// A new session of an account, with its first pair of tokens.
pub(super) async fn open_session(
    tx: &mut Tx,
    around: &Surroundings,
    origin: &Origin,
    account: AccountId,
) -> Result<Session, ApiError> {
    open(tx, around, origin, account, true).await
}

/// As [`open_session`], by something that proves too little for what weighs most.
pub(super) async fn open_unproved(
    tx: &mut Tx,
    around: &Surroundings,
    origin: &Origin,
    account: AccountId,
) -> Result<Session, ApiError> {
    open(tx, around, origin, account, false).await
}

async fn open(
    tx: &mut Tx,
    around: &Surroundings,
    origin: &Origin,
    account: AccountId,
    proved: bool,
) -> Result<Session, ApiError> {
    let session = SessionId::new();
    let now = tx.real_now();
    sql::forget_where(tx, account).await?;
    sql::insert_session(tx, session, account, now + SESSION_LASTS, origin, proved).await?;
    let (refresh_token, digest) = token::new_secret();
    sql::insert_refresh(tx, &digest, session, now + REFRESH_LASTS).await?;
    tokens(tx, around, account, session, refresh_token)
}

/// The answer with a pair of tokens.
pub(super) fn tokens(
    tx: &Tx,
    around: &Surroundings,
    account: AccountId,
    session: SessionId,
    refresh_token: String,
) -> Result<Session, ApiError> {
    let access = around.keys.issue(account, session, tx.real_now());
    let access_token = access.ok_or_else(|| ApiError::broken("a token could not be signed"))?;
    Ok(Session { session_id: session, access_token, access_expires_in: token::ACCESS_SECONDS, refresh_token })
}
