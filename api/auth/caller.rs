//! Who asks, before the database has been asked about them.

use actix_web::dev::ServiceRequest;
use actix_web::http::header;
use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::actor::{Entered, Principal};
use super::token;
use crate::common::ids::{KeyId, SessionId, UnitId};
use crate::common::text::hex;
use crate::error::{ApiError, Code};

/// Who asks, as far as the token alone tells.
#[derive(Debug)]
pub(super) enum Caller {
    /// Somebody signed in, by the ids of account and session and when the token was made.
    Session { account: Uuid, session: Uuid, issued: DateTime<Utc> },
    /// A key for scripts, by its digest.
    Key(Vec<u8>),
}

impl Caller {
    /// Who it is, once the database has said which key it was.
    pub(super) fn principal(&self, entered: &Entered) -> Principal {
        match self {
            Self::Session { session, .. } => Principal::Session(SessionId(*session)),
            Self::Key(_) => Principal::Key(entered.key_id.unwrap_or(KeyId(Uuid::nil()))),
        }
    }

    /// Under which name its requests are counted: an account's sessions together, since anybody can open many.
    pub(super) fn name(&self) -> String {
        match self {
            Self::Session { account, .. } => format!("account:{account}"),
            Self::Key(digest) => format!("key:{}", hex(digest)),
        }
    }

    /// The one message: only ids, digests and instants of our own making stand in it, never text from outside.
    pub(super) fn message(&self, unit: Option<UnitId>, real_now: DateTime<Utc>, read_only: bool) -> String {
        let begin = if read_only { "BEGIN READ ONLY" } else { "BEGIN" };
        let unit = unit.map_or_else(|| "NULL".to_owned(), |unit| format!("'{unit}'"));
        let now = real_now.to_rfc3339();
        let (session, key, issued) = match self {
            Self::Session { session, issued, .. } => (format!("'{session}'"), "NULL".to_owned(), issued.to_rfc3339()),
            Self::Key(digest) => ("NULL".to_owned(), format!("'\\x{}'", hex(digest)), now.clone()),
        };
        format!("{begin}; SELECT enter({session}, {key}, {unit}, '{now}', '{issued}')")
    }
}

/// An IPv6 sender is its /64: within it, addresses are free to choose.
pub(super) fn network(address: std::net::IpAddr) -> String {
    match address {
        std::net::IpAddr::V4(v4) => v4.to_string(),
        std::net::IpAddr::V6(v6) => {
            let [a, b, c, d, ..] = v6.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}::/64")
        }
    }
}

/// What the sender's program calls itself, in plain characters and not too long: shown to the account's owner alone.
pub(super) fn program(request: &ServiceRequest) -> Option<String> {
    let said = request.headers().get(header::USER_AGENT)?.to_str().ok()?;
    let plain: String = said.chars().filter(|one| one.is_ascii_graphic() || *one == ' ').take(120).collect();
    let plain = plain.trim();
    (!plain.is_empty()).then(|| plain.to_owned())
}

/// Nobody is known by what was sent. A script that sends a key is not told to sign in.
pub(super) fn unknown(by_key: bool) -> ApiError {
    let error = ApiError::new(Code::NotSignedIn).header("www-authenticate", "Bearer error=\"invalid_token\"");
    if !by_key {
        return error;
    }
    error.detail("This key for scripts does not work: it was revoked, has run out, ended with its owner's role, or was not copied whole. Let its owner look at the keys (list_keys) and make a new one (make_key).")
}

/// Whether what was sent is meant as a key for scripts, whatever it is worth.
pub(super) fn sends_key(request: &ServiceRequest) -> bool {
    let value = request.headers().get(header::AUTHORIZATION).and_then(|value| value.to_str().ok());
    value
        .and_then(|value| value.split_once(' '))
        .is_some_and(|(scheme, token)| scheme.eq_ignore_ascii_case("bearer") && token.starts_with(token::KEY_PREFIX))
}
