//! Lists come in pages, and a page marker is tied to its list and filters.
//!
//! Paging is by key, never by offset: rows that appear or vanish between two pages neither repeat nor hide others.

use actix_web::HttpRequest;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest as _, Sha256};

use crate::error::{ApiError, Code};

/// How many rows a page has when the caller does not say.
pub const DEFAULT_LIMIT: u16 = 50;

/// The most rows a page can have.
pub const MAX_LIMIT: u16 = 200;

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
    let bytes = serde_json::to_vec(&(fingerprint(filters)?, last)).map_err(|error| ApiError::internal(&error))?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// The key after which the page begins; none for the first page.
///
/// # Errors
/// 400 if the marker is cut off or belongs to another list or other filters.
pub fn decode<K: DeserializeOwned, F: Serialize>(cursor: Option<&str>, filters: &F) -> Result<Option<K>, ApiError> {
    let Some(cursor) = cursor else { return Ok(None) };
    let bytes = URL_SAFE_NO_PAD.decode(cursor).map_err(|_| ApiError::new(Code::BadCursor))?;
    let (print, key): (String, K) = serde_json::from_slice(&bytes).map_err(|_| ApiError::new(Code::BadCursor))?;
    if print == fingerprint(filters)? { Ok(Some(key)) } else { Err(ApiError::new(Code::BadCursor)) }
}

/// Cuts one row more than `limit` down to the page and says whether another follows: ask the database for `limit + 1`.
pub fn cut<T>(rows: &mut Vec<T>, limit: u16) -> bool {
    let more = rows.len() > usize::from(limit);
    rows.truncate(usize::from(limit));
    more
}

fn fingerprint<F: Serialize>(filters: &F) -> Result<String, ApiError> {
    let bytes = serde_json::to_vec(filters).map_err(|error| ApiError::internal(&error))?;
    let digest = Sha256::digest(bytes);
    Ok(URL_SAFE_NO_PAD.encode(digest.get(..8).unwrap_or_default()))
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
    use super::{cut, decode, encode};

    #[test]
    fn a_cursor_comes_back_only_with_its_own_filters() {
        let cursor = encode(&("0412", 7), &"state=ready").unwrap();
        assert_eq!(decode::<(String, i32), _>(Some(&cursor), &"state=ready").unwrap(), Some(("0412".to_owned(), 7)));
        assert!(decode::<(String, i32), _>(Some(&cursor), &"state=vacant").is_err());
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
