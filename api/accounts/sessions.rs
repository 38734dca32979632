//! One's own sessions: which there are, and how one that is not wanted any more ends.
//!
//! A session that has ended is refused on its next request, whatever its tokens say (`enter` reads it anew each time).

use actix_web::{HttpRequest, get, post};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sign_out::EndedSession;
use super::sql::{self, OpenRow};
use crate::auth::SignedIn;
use crate::common::answer::Answer;
use crate::common::body::{Json, Path, Query};
use crate::common::ids::SessionId;
use crate::common::page;
use crate::error::{ApiError, Code, Problems};

/// A session that can go on.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct OpenSession {
    /// Which one.
    pub session_id: SessionId,
    /// Whether it is the one by which you ask.
    pub current: bool,
    /// When it was opened.
    pub opened_at: DateTime<Utc>,
    /// When it was last used, to about ten minutes: when its newest tokens were given.
    pub last_used_at: DateTime<Utc>,
    /// When it ends at the latest. Unused, it ends seven days after it was last used.
    pub expires_at: DateTime<Utc>,
    /// From which address of the network it was opened (of an IPv6 address, its first half); null if that is not known.
    #[schema(required = true, max_length = 60, example = "203.0.113.7")]
    pub opened_from: Option<String>,
    /// What the program called itself that opened it; null if it said nothing.
    #[schema(required = true, max_length = 120, example = "Mozilla/5.0 (Android 16; Mobile; rv:148.0)")]
    pub opened_with: Option<String>,
}

/// Which page of sessions.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SessionsQuery {
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

crate::page!(
    /// Your sessions.
    SessionPage of OpenSession
);

/// List your sessions that can go on, the newest first.
///
/// One that you do not know may be somebody else's: end it (`end_session`), and choose a new password.
#[utoipa::path(tag = "accounts", params(SessionsQuery), extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 200, description = "Your sessions.", body = SessionPage), Problems))]
#[get("/v1/me/sessions")]
pub async fn list_sessions(
    signed_in: SignedIn,
    request: HttpRequest,
    query: Query<SessionsQuery>,
) -> Result<Answer<SessionPage>, ApiError> {
    let current = signed_in.session()?;
    let SessionsQuery { limit, cursor } = query.0;
    let after: Option<SessionId> = page::decode(cursor.as_deref(), &"sessions")?;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    let mut rows = sql::open_sessions(&mut tx, account, current, after.map(|id| id.0), i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<OpenSession> = rows.into_iter().map(|row| shown(row, current)).collect();
    let last = items.last().filter(|_| more).map(|one| page::encode(&one.session_id, &"sessions")).transpose()?;
    let page = SessionPage { items, next_cursor: last };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}

fn shown(row: OpenRow, current: SessionId) -> OpenSession {
    let OpenRow { session_id, opened_at, last_used_at, expires_at, opened_from, opened_with } = row;
    let session_id = SessionId(session_id);
    let current = session_id == current;
    OpenSession { session_id, current, opened_at, last_used_at, expires_at, opened_from, opened_with }
}

/// Which session.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct SessionPath {
    /// The session.
    #[param(value_type = uuid::Uuid)]
    session_id: SessionId,
}

/// End one of your sessions with all of its tokens, at once: a phone that was lost, a computer that is not yours.
#[utoipa::path(tag = "accounts", params(SessionPath), extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 200, description = "It has ended.", body = EndedSession), Problems))]
#[post("/v1/me/sessions/{session_id}/end")]
pub async fn end_session(signed_in: SignedIn, path: Path<SessionPath>) -> Result<Answer<EndedSession>, ApiError> {
    let current = signed_in.session()?;
    let session = path.session_id;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    let live = sql::lock_session(&mut tx, account, session).await?;
    tx.replay().await?;
    live.then_some(()).ok_or(Code::AlreadyEnded)?;
    let because = if session == current { "signed_out" } else { "ended_from_another" };
    sql::end_session(&mut tx, session, because).await?;
    tx.about("session", session);
    tx.commit_with(Answer::new(&EndedSession { session_id: session, ended: true })?).await
}

/// What else ends, or does not.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"keep_this": true, "keys_too": false}))]
pub struct Everywhere {
    /// True keeps the session by which you ask.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    keep_this: bool,
    /// True revokes your keys for scripts too.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    keys_too: bool,
}

/// What has ended.
#[derive(Debug, Serialize, ToSchema)]
pub struct EndedEverywhere {
    /// How many sessions.
    pub ended_sessions: u64,
    /// How many keys for scripts.
    pub revoked_keys: u64,
    /// Whether the session by which you asked goes on.
    pub this_goes_on: bool,
}

/// Sign out everywhere: end all of your sessions with all of their tokens, at once, and every open link that could begin one.
///
/// Keys for scripts go on unless you say otherwise.
#[utoipa::path(tag = "accounts", request_body = Everywhere, extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 200, description = "They have ended.", body = EndedEverywhere), Problems))]
#[post("/v1/me/sessions/end-all")]
pub async fn end_all_sessions(
    signed_in: SignedIn,
    body: Json<Everywhere>,
) -> Result<Answer<EndedEverywhere>, ApiError> {
    let current = signed_in.session()?;
    let Everywhere { keep_this, keys_too } = body.0;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    tx.replay().await?;
    let keep = keep_this.then_some(current);
    let ended_sessions = sql::end_sessions(&mut tx, account, keep, "signed_out_everywhere").await?;
    let revoked_keys = if keys_too { sql::revoke_keys(&mut tx, account).await? } else { 0 };
    tx.about("account", account);
    tx.commit_with(Answer::new(&EndedEverywhere { ended_sessions, revoked_keys, this_goes_on: keep_this })?).await
}
