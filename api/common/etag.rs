//! Versions of editable things: nobody's change is overwritten unseen.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest};

use crate::error::{ApiError, Code};

/// The strong tag of a row's version.
#[must_use]
pub fn etag(version: i64) -> String {
    format!("\"v{version}\"")
}

/// The `If-Match` header of a change. It is looked at only after the row is known to be in reach, so that neither a
/// missing nor a stale one tells whether the row exists.
#[derive(Debug)]
pub struct IfMatch(Option<String>);

impl FromRequest for IfMatch {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let value = request.headers().get(header::IF_MATCH).and_then(|value| value.to_str().ok());
        ready(Ok(Self(value.map(str::to_owned))))
    }
}

/// Whether it has the form of a version's tag.
#[must_use]
pub fn is_version(tag: &str) -> bool {
    let number = tag.strip_prefix("\"v").and_then(|rest| rest.strip_suffix('"'));
    number.is_some_and(|number| !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit()))
}

impl IfMatch {
    /// Holds the change to the version that the caller has read.
    ///
    /// # Errors
    /// 428 without the header, 412 with another version, a weak tag or `*`; both carry the present tag.
    pub fn require(&self, version: i64) -> Result<(), ApiError> {
        let current = etag(version);
        match &self.0 {
            None => Err(ApiError::new(Code::VersionMissing).header("etag", current)),
            Some(sent) if *sent == current => Ok(()),
            Some(sent) if !is_version(sent) => {
                let detail =
                    "If-Match must hold the strong ETag that you read, with its quotation marks, such as \"v3\".";
                Err(ApiError::new(Code::VersionStale).detail(detail.to_owned()).header("etag", current))
            }
            Some(_) => Err(ApiError::new(Code::VersionStale).header("etag", current)),
        }
    }
}
