//! Who asks, before the database has been asked about them.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::common::ids::UnitId;
use crate::common::text::hex;

/// Who asks, as far as the token alone tells.
#[derive(Debug)]
pub(super) enum Caller {
    /// Somebody signed in, by the id of the session and when the token was made.
    Session { session: Uuid, issued: DateTime<Utc> },
    /// A key for scripts, by its digest.
    Key(Vec<u8>),
}

impl Caller {
    /// Under which name its requests are counted.
    pub(super) fn name(&self) -> String {
        match self {
            Self::Session { session, .. } => format!("session:{session}"),
            Self::Key(digest) => format!("key:{}", hex(digest)),
        }
    }

    /// The one message: only ids, digests and instants of our own making stand in it, never text from outside.
    pub(super) fn message(&self, unit: Option<UnitId>, real_now: DateTime<Utc>, read_only: bool) -> String {
        let begin = if read_only { "BEGIN READ ONLY" } else { "BEGIN" };
        let unit = unit.map_or_else(|| "NULL".to_owned(), |unit| format!("'{unit}'"));
        let now = real_now.to_rfc3339();
        let (session, key, issued) = match self {
            Self::Session { session, issued } => (format!("'{session}'"), "NULL".to_owned(), issued.to_rfc3339()),
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
