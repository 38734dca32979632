//! Lists come in pages, and a page marker is tied to its list and filters.
//!
//! Paging is by key, never by offset: rows that appear or vanish between two pages neither repeat nor hide others.
//! A marker is signed with a key of the server: one that somebody made up would tell where a row that is out of reach sorts.

use std::sync::OnceLock;

use actix_web::HttpRequest;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit as _, Mac as _};
use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::Sha256;

use crate::error::{ApiError, Code};

/// How many rows a page has when the caller does not say.
pub const DEFAULT_LIMIT: u16 = 50;

/// The most rows a page can have.
pub const MAX_LIMIT: u16 = 200;

/// What markers are signed with; empty until the server has said it, as in tests of single functions.
static KEY: OnceLock<Vec<u8>> = OnceLock::new();

/// Says what markers are signed with, once, when the server starts. Processes of one server say the same.
pub fn sign_with(key: Vec<u8>) {
    if KEY.set(key).is_err() {
        tracing::debug!("page markers have their key already");
    }
}

/// The default of a `limit` parameter, for serde.
#[must_use]
pub const fn default_limit() -> u16 {
    DEFAULT_LIMIT
}

/// Declares the page type of a list: `page!(/// doc TroopPage of Troop);`. A concrete type each, since client generators
/// dislike generic ones. With `, since` it also says how far the log had come (`common::since`).
#[macro_export]
macro_rules! page {
    ($(#[$doc:meta])* $name:ident of $item:ty, since) => {
        $(#[$doc])*
        #[derive(Debug, serde::Serialize, utoipa::ToSchema)]
        pub struct $name {
            /// How far the unit's log had come before these rows were read: send that of the first page as `updated_since`
            /// next time.
            #[schema(minimum = 0)]
            pub log_seq: i64,
            /// The rows of this page.
            #[schema(max_items = 200)]
            pub items: Vec<$item>,
            /// Send it as `cursor` to get the next page; null on the last one.
            #[schema(required = true, max_length = 1000)]
            pub next_cursor: Option<String>,
        }
    };
    ($(#[$doc:meta])* $name:ident of $item:ty) => {
        $(#[$doc])*
        #[derive(Debug, serde::Serialize, utoipa::ToSchema)]
        pub struct $name {
            /// The rows of this page.
            #[schema(max_items = 200)]
            pub items: Vec<$item>,
            /// Send it as `cursor` to get the next page; null on the last one.
            #[schema(required = true, max_length = 1000)]
            pub next_cursor: Option<String>,
        }
    };
}

/// The marker after `last`, valid only with the same `filters`.
///
/// # Errors
/// An internal error if the key has no JSON form.
pub fn encode<K: Serialize, F: Serialize>(last: &K, filters: &F) -> Result<String, ApiError> {
    let last = json(last)?;
    let mut bytes = signature(&last, &json(filters)?)?;
    bytes.extend(last);
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// The key after which the page begins; none for the first page.
///
/// # Errors
/// 400 if the marker is cut off, was made up, or belongs to another list or other filters.
pub fn decode<K: DeserializeOwned, F: Serialize>(cursor: Option<&str>, filters: &F) -> Result<Option<K>, ApiError> {
    let Some(cursor) = cursor else { return Ok(None) };
    let bytes = URL_SAFE_NO_PAD.decode(cursor).map_err(|_| ApiError::new(Code::BadCursor))?;
    let (signed, last) = bytes.split_at_checked(SIGNATURE).ok_or(Code::BadCursor)?;
    mac(last, &json(filters)?)?.verify_truncated_left(signed).map_err(|_| ApiError::new(Code::BadCursor))?;
    serde_json::from_slice(last).map(Some).map_err(|_| ApiError::new(Code::BadCursor))
}

/// Cuts one row more than `limit` down to the page and says whether another follows: ask the database for `limit + 1`.
pub fn cut<T>(rows: &mut Vec<T>, limit: u16) -> bool {
    let more = rows.len() > usize::from(limit);
    rows.truncate(usize::from(limit));
    more
}

/// How many bytes of a signature a marker carries (RFC 2104 section 5: half of the digest, 80 bits at least).
const SIGNATURE: usize = 16;

fn json<T: Serialize>(value: &T) -> Result<Vec<u8>, ApiError> {
    serde_json::to_vec(value).map_err(|error| ApiError::internal(&error))
}

fn mac(last: &[u8], filters: &[u8]) -> Result<Hmac<Sha256>, ApiError> {
    let key = KEY.get().map_or(&[][..], Vec::as_slice);
    let mut mac = Hmac::<Sha256>::new_from_slice(key).map_err(|error| ApiError::internal(&error))?;
    // JSON has no byte of nought: where one part ends is not in doubt.
    mac.update(filters);
    mac.update(&[0]);
    mac.update(last);
    Ok(mac)
}

fn signature(last: &[u8], filters: &[u8]) -> Result<Vec<u8>, ApiError> {
    let signed = mac(last, filters)?.finalize().into_bytes();
    Ok(signed.iter().copied().take(SIGNATURE).collect())
}

/// The `Link` to the next page: this request's address with the new cursor.
#[must_use]
pub fn next_link(request: &HttpRequest, cursor: &str) -> String {
    let kept = request.query_string().split('&').filter(|pair| !pair.is_empty() && !pair.starts_with("cursor="));
    let query: Vec<&str> = kept.collect();
    let lead = if query.is_empty() { String::new() } else { format!("{}&", query.join("&")) };
    format!("<{}?{lead}cursor={cursor}>; rel=\"next\"", request.path())
}

#[cfg(test)]
mod tests {
    use base64::Engine as _;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD;

    use super::{cut, decode, encode};

    #[test]
    fn a_cursor_comes_back_only_with_its_own_filters() {
        let cursor = encode(&("0412", 7), &"state=ready").unwrap();
        assert_eq!(decode::<(String, i32), _>(Some(&cursor), &"state=ready").unwrap(), Some(("0412".to_owned(), 7)));
        assert!(decode::<(String, i32), _>(Some(&cursor), &"state=vacant").is_err());
        // Another key behind the same signature, and a signature cut short.
        let mut made_up = URL_SAFE_NO_PAD.decode(&cursor).unwrap();
        let last = made_up.len() - 2;
        made_up[last] = b'8';
        assert!(decode::<(String, i32), _>(Some(&URL_SAFE_NO_PAD.encode(&made_up)), &"state=ready").is_err());
        assert!(decode::<(String, i32), _>(Some(&URL_SAFE_NO_PAD.encode(&made_up[..15])), &"state=ready").is_err());
        assert!(decode::<(String, i32), _>(Some("!!"), &"state=ready").is_err());
        assert!(decode::<(String, i32), _>(Some(""), &"state=ready").is_err());
        assert_eq!(decode::<(String, i32), _>(None, &"state=ready").unwrap(), None);
    }

    #[test]
    fn a_page_is_cut_to_its_limit() {
        let mut rows = vec![1, 2, 3];
        assert!(cut(&mut rows, 2));
        assert_eq!(rows, [1, 2]);
        assert!(!cut(&mut rows, 2));
    }
}
