//! Answers: the status is in the type, the body is made once, and the same bytes are sent, stored for safe retries and
//! tagged for cheap polling.

use std::marker::PhantomData;

use actix_web::body::BoxBody;
use actix_web::http::{Method, StatusCode, header};
use actix_web::web::Bytes;
use actix_web::{HttpRequest, HttpResponse, Responder};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::error::ApiError;

/// A finished answer: what goes over the wire and into the store of safe retries.
#[derive(Clone, Debug)]
pub struct Reply {
    /// The status.
    pub status: StatusCode,
    /// Header fields beside the type, in order.
    pub headers: Vec<(String, String)>,
    /// The type of the body.
    pub content_type: String,
    /// The body.
    pub body: Bytes,
    /// The parts of the body that its weak tag leaves out, in order: the instant at which it stands.
    pub untagged: Vec<std::ops::Range<usize>>,
}

impl Reply {
    fn json<T: Serialize + ?Sized>(status: StatusCode, value: &T) -> Result<Self, ApiError> {
        let body = serde_json::to_vec(value).map_err(|error| ApiError::internal(&error))?;
        Ok(Self {
            status,
            headers: Vec::new(),
            content_type: "application/json".to_owned(),
            body: body.into(),
            untagged: Vec::new(),
        })
    }

    /// The response with these bytes.
    #[must_use]
    pub fn respond(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status);
        response.insert_header((header::CONTENT_TYPE, self.content_type.as_str()));
        for (name, value) in &self.headers {
            response.append_header((name.as_str(), value.as_str()));
        }
        response.body(self.body.clone())
    }

    fn has(&self, name: &str) -> bool {
        self.headers.iter().any(|(held, _)| held.eq_ignore_ascii_case(name))
    }
}

/// Whatever a handler can answer with.
pub trait AsReply {
    /// The finished answer.
    fn reply(&self) -> &Reply;
}

macro_rules! answers {
    ($($(#[$doc:meta])* $name:ident $status:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Debug)]
        pub struct $name<T>(Reply, PhantomData<fn() -> T>);

        impl<T: Serialize> $name<T> {
            /// Makes the body.
            ///
            /// # Errors
            /// An internal error if the value has no JSON form.
            pub fn new(value: &T) -> Result<Self, ApiError> {
                Ok(Self(Reply::json(StatusCode::$status, value)?, PhantomData))
            }

            /// With a header field.
            #[must_use]
            pub fn header(mut self, name: impl Into<String>, value: impl Into<String>) -> Self {
                self.0.headers.push((name.into(), value.into()));
                self
            }

            /// With the row's version as a strong `ETag`: only where the body does not vary by reader or time.
            #[must_use]
            pub fn version(self, version: i64) -> Self {
                self.header("etag", super::etag::etag(version))
            }

            /// Leaves keys of the body that hold a text or a number, such as `stands_at`, out of its weak `ETag`: the same answer a second later is
            /// the same answer, and a poller gets 304. Of each the first in the body counts.
            #[must_use]
            pub fn tag_without(mut self, keys: &[&str]) -> Self {
                let mut parts: Vec<_> = keys.iter().filter_map(|key| text_of(&self.0.body, key)).collect();
                parts.sort_by_key(|part| part.start);
                self.0.untagged = parts;
                self
            }

            /// With the address of what was made.
            #[must_use]
            pub fn location(self, address: impl Into<String>) -> Self {
                self.header("location", address)
            }

            /// With the link to the next page, if there is one (RFC 8288).
            #[must_use]
            pub fn next_page(self, request: &HttpRequest, next_cursor: Option<&str>) -> Self {
                match next_cursor {
                    Some(cursor) => self.header("link", super::page::next_link(request, cursor)),
                    None => self,
                }
            }
        }

        impl<T> AsReply for $name<T> {
            fn reply(&self) -> &Reply {
                &self.0
            }
        }

        impl<T> Responder for $name<T> {
            type Body = BoxBody;

            fn respond_to(self, request: &HttpRequest) -> HttpResponse {
                respond(&self.0, request)
            }
        }
    )*};
}

answers! {
    /// 200: here it is.
    Answer OK;
    /// 201: it was made, and here it is.
    Created CREATED;
    /// 202: it was taken in and is being worked on.
    Accepted ACCEPTED;
}

/// 200 with bytes of another type than JSON: a file to keep, or a page.
#[derive(Debug)]
pub struct File(Reply);

impl File {
    /// A file that browsers offer to save under this (plain ASCII) name.
    #[must_use]
    pub fn attachment(content_type: &str, name: &str, body: impl Into<Bytes>) -> Self {
        let disposition = format!("attachment; filename=\"{name}\"");
        Self(Reply {
            status: StatusCode::OK,
            headers: vec![("content-disposition".to_owned(), disposition)],
            content_type: content_type.to_owned(),
            body: body.into(),
            untagged: Vec::new(),
        })
    }

    /// With a weak `ETag` that is the digest of something else than the bytes: of all that matters in a file whose bytes
    /// say at which instant it was made.
    #[must_use]
    pub fn tagged_by(mut self, all_that_matters: &[u8]) -> Self {
        self.0.headers.push(("etag".to_owned(), weak_tag(&Sha256::digest(all_that_matters))));
        self
    }

    /// A page or text to show.
    #[must_use]
    pub fn page(content_type: &str, body: impl Into<Bytes>) -> Self {
        Self(Reply {
            status: StatusCode::OK,
            headers: Vec::new(),
            content_type: content_type.to_owned(),
            body: body.into(),
            untagged: Vec::new(),
        })
    }
}

impl File {
    /// A page of our own: it runs our script, takes our style, asks this server and nobody else.
    #[must_use]
    pub fn html(body: &'static str) -> Self {
        let Self(mut reply) = Self::page("text/html; charset=utf-8", body);
        reply.headers.push(("content-security-policy".to_owned(), PAGE_POLICY.to_owned()));
        Self(reply)
    }
}

const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; base-uri 'none'; \
     form-action 'none'; frame-ancestors 'none'";

impl AsReply for File {
    fn reply(&self) -> &Reply {
        &self.0
    }
}

impl Responder for File {
    type Body = BoxBody;

    fn respond_to(self, request: &HttpRequest) -> HttpResponse {
        respond(&self.0, request)
    }
}

/// A read carries a weak tag of its bytes, and a poller that has them gets 304. The tag is of what is true now, so a
/// change by time alone changes it too.
fn respond(reply: &Reply, request: &HttpRequest) -> HttpResponse {
    if request.method() != Method::GET || reply.status != StatusCode::OK {
        return reply.respond();
    }
    let weak = body_tag(reply);
    let asked = request.headers().get(header::IF_NONE_MATCH).and_then(|value| value.to_str().ok());
    let strong = reply.headers.iter().find(|(name, _)| name == "etag").map(|(_, value)| value.as_str());
    let tag = strong.unwrap_or(&weak);
    if asked.is_some_and(|asked| asked.split(',').any(|one| plain(one) == plain(tag) || one.trim() == "*")) {
        return HttpResponse::NotModified().insert_header((header::ETAG, tag)).finish();
    }
    let mut response = reply.respond();
    if !reply.has("etag")
        && let Ok(value) = header::HeaderValue::from_str(&weak)
    {
        response.headers_mut().insert(header::ETAG, value);
    }
    response
}

/// Weak comparison (RFC 9110 section 8.8.3.2): the marker does not count.
fn plain(tag: &str) -> &str {
    let tag = tag.trim();
    tag.strip_prefix("W/").unwrap_or(tag)
}

/// Where the text or the number of a key stands in a JSON object. No text can hold the key with its quotation marks: they are escaped.
fn text_of(body: &[u8], key: &str) -> Option<std::ops::Range<usize>> {
    let begin = format!("\"{key}\":");
    let start = body.windows(begin.len()).position(|part| part == begin.as_bytes())?.checked_add(begin.len())?;
    let (start, ends): (usize, &[u8]) =
        if body.get(start) == Some(&b'"') { (start.checked_add(1)?, b"\"") } else { (start, b",}") };
    let length = body.get(start..)?.iter().position(|byte| ends.contains(byte))?;
    Some(start..start.checked_add(length)?)
}

fn body_tag(reply: &Reply) -> String {
    let mut digest = Sha256::new();
    let mut from = 0;
    for part in &reply.untagged {
        digest.update(reply.body.get(from..part.start).unwrap_or_default());
        from = part.end;
    }
    digest.update(reply.body.get(from..).unwrap_or_default());
    weak_tag(&digest.finalize())
}

fn weak_tag(digest: &[u8]) -> String {
    format!("W/\"{}\"", URL_SAFE_NO_PAD.encode(digest.get(..12).unwrap_or_default()))
}
