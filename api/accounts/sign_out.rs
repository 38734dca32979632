//! Sign out.

use actix_web::post;
use serde::Serialize;
use utoipa::ToSchema;

use super::sql;
use crate::auth::SignedIn;
use crate::common::answer::Answer;
use crate::common::ids::SessionId;
use crate::error::{ApiError, Problems};

/// A session that has ended.
#[derive(Debug, Serialize, ToSchema)]
pub struct EndedSession {
    /// The session.
    pub session_id: SessionId,
    /// Whether it has ended.
    pub ended: bool,
}

/// Sign out: end this session with all of its tokens, at once.
#[utoipa::path(tag = "accounts", extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 200, description = "You are signed out.", body = EndedSession), Problems))]
#[post("/v1/sessions/current/end")]
pub async fn sign_out(signed_in: SignedIn) -> Result<Answer<EndedSession>, ApiError> {
    let session = signed_in.session()?;
    let mut tx = signed_in.tx()?;
    tx.replay().await?;
    sql::end_session(&mut tx, session, "signed_out").await?;
    tx.about("session", session);
    tx.commit_with(Answer::new(&EndedSession { session_id: session, ended: true })?).await
}
