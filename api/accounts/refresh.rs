//! Carry a sign-in on with its refresh token.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::rules::{RefreshState, RefreshVerdict};
use super::sign_in::{REFRESH_LASTS, Session, tokens};
use super::{rules, sql};
use crate::auth::{Public, token};
use crate::common::answer::Created;
use crate::common::body::Json;
use crate::common::ids::{AccountId, SessionId};
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// The refresh token of the last answer.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"refresh_token": "q0Q2m3rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u5"}))]
pub struct Refresh {
    /// The refresh token of the last answer.
    #[garde(length(min = 1, max = 100))]
    #[schema(min_length = 1, max_length = 100)]
    refresh_token: String,
}

/// Carry a sign-in on.
///
/// Each refresh token works once. If the answer was lost, the same token may be sent again within 30 seconds. A token that
/// comes a second time otherwise ends the session, since somebody else may have it.
#[utoipa::path(tag = "accounts", request_body = Refresh, extensions(("x-permission" = json!("public"))), responses((status = 201, description = "The next pair of tokens.", body = Session), Problems))]
#[post("/v1/sessions/refresh")]
pub async fn refresh_session(
    public: Public,
    around: Around,
    body: Json<Refresh>,
) -> Result<Created<Session>, ApiError> {
    let digest = token::digest(&body.0.refresh_token);
    let mut tx = public.tx().await?;
    let now = tx.real_now();
    let Some(row) = sql::lock_refresh(&mut tx, &digest).await? else { return Err(Code::BadRefreshToken.into()) };
    let successor_used = match &row.successor {
        Some(successor) => sql::refresh_is_used(&mut tx, successor).await?,
        None => false,
    };
    let session_live = row.session_ended_at.is_none() && row.session_expires_at > now && row.disabled_at.is_none();
    let state = RefreshState {
        session_live,
        expires_at: row.expires_at,
        used_at: row.used_at,
        voided: row.voided_at.is_some(),
        successor_used,
    };
    let (account, session) = (AccountId(row.account_id), SessionId(row.session_id));
    tx.about("account", account);
    tx.about("session", session);
    match rules::refresh(state, now) {
        RefreshVerdict::Refuse => return Err(Code::BadRefreshToken.into()),
        RefreshVerdict::EndSession => {
            sql::end_session(&mut tx, session, "refresh_token_reused").await?;
            tx.commit().await?;
            return Err(Code::BadRefreshToken.into());
        }
        RefreshVerdict::RenewAndVoidSuccessor => {
            if let Some(successor) = &row.successor {
                sql::void_refresh(&mut tx, successor).await?;
            }
        }
        RefreshVerdict::Renew => {}
    }
    let (next, next_digest) = token::new_secret();
    let expires_at = (now + REFRESH_LASTS).min(row.session_expires_at);
    sql::insert_refresh(&mut tx, &next_digest, session, expires_at).await?;
    sql::use_refresh(&mut tx, &digest, &next_digest).await?;
    let answer = tokens(&tx, &around, account, session, next)?;
    tx.commit_with(Created::new(&answer)?.location("/v1/me")).await
}
