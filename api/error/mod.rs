//! The one error type of every operation, and how it becomes an answer.
//!
//! Every answer that is not a success is `application/problem+json` (RFC 9457) with the same keys, a stable `code`, and
//! a `detail` that tells a volunteer what to do next. The codes are one closed table (`codes.rs`); database faults come
//! back by constraint name ([`OnConstraint`]) or as an opaque 500 whose cause is logged once and never shown.

mod codes;
mod database;
mod problems;

pub use codes::Code;
pub use database::OnConstraint;
pub use problems::Problems;

use actix_web::http::{StatusCode, header};
use actix_web::{HttpResponse, ResponseError};
use serde::{Deserialize, Serialize};

use crate::common::answer::Reply;

/// One thing that is wrong with a request, and where.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct FieldError {
    /// Where in the body: a JSON pointer (RFC 6901); null when it is not about the body.
    #[schema(required = true, max_length = 400, example = "/selling_youths")]
    pub pointer: Option<String>,
    /// Which query or path parameter; null when it is not about one.
    #[schema(required = true, max_length = 100)]
    pub parameter: Option<String>,
    /// A stable word for programs; new values may come.
    #[schema(max_length = 80, example = "too_large")]
    pub code: String,
    /// What is wrong and what would be right, for a person.
    #[schema(max_length = 1000, example = "at most 500")]
    pub detail: String,
}

impl FieldError {
    /// A fault at a place in the body.
    pub fn at(pointer: impl Into<String>, code: impl Into<String>, detail: impl Into<String>) -> Self {
        Self { pointer: Some(pointer.into()), parameter: None, code: code.into(), detail: detail.into() }
    }

    /// A fault of a query, path or header parameter.
    pub fn parameter(name: impl Into<String>, code: impl Into<String>, detail: impl Into<String>) -> Self {
        Self { pointer: None, parameter: Some(name.into()), code: code.into(), detail: detail.into() }
    }

    /// A matter that is not a place in the request, such as a requirement still open.
    pub fn matter(code: impl Into<String>, detail: impl Into<String>) -> Self {
        Self { pointer: None, parameter: None, code: code.into(), detail: detail.into() }
    }
}

/// The body of every answer that is not a success (RFC 9457).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Problem {
    /// The address of a page about this kind of problem.
    #[serde(rename = "type")]
    #[schema(max_length = 200, example = "/problems/not_found")]
    pub kind: String,
    /// The kind of problem in a few words.
    #[schema(max_length = 200, example = "Not found")]
    pub title: String,
    /// The HTTP status again.
    #[schema(minimum = 400, maximum = 599, example = 404)]
    pub status: u16,
    /// A stable word for programs; new values may come.
    #[schema(max_length = 80, example = "not_found")]
    pub code: String,
    /// What happened and what to do next, for a person.
    #[schema(max_length = 2000)]
    pub detail: String,
    /// This very occurrence.
    #[schema(max_length = 200)]
    pub instance: String,
    /// The id under which the server's log knows this request.
    #[schema(max_length = 100)]
    pub request_id: String,
    /// Everything that is wrong, all at once; empty when there is nothing more to say.
    #[schema(max_items = 1000)]
    pub errors: Vec<FieldError>,
}

/// What went wrong, not yet an answer.
#[derive(Clone, Debug)]
pub struct Fault {
    /// The kind of problem.
    pub code: Code,
    /// Replaces the code's own sentence where a more exact one helps.
    pub detail: Option<String>,
    /// All single faults.
    pub errors: Vec<FieldError>,
    /// Seconds for `Retry-After`.
    pub retry_after: Option<u32>,
    /// Further header fields, such as `ETag` or `Allow`.
    pub headers: Vec<(&'static str, String)>,
    /// Whether the database undid it because two transactions stood in each other's way: done again, it may well pass.
    pub undone: bool,
}

/// The one error type of handlers.
#[derive(Clone, Debug)]
pub enum ApiError {
    /// Something is wrong.
    Fault(Box<Fault>),
    /// Nothing is wrong: the request was done before and its stored answer goes out again.
    Replayed(Box<Reply>),
}

impl ApiError {
    /// A problem of this kind with its own sentence.
    #[must_use]
    pub fn new(code: Code) -> Self {
        let retry_after = (code.status() == StatusCode::SERVICE_UNAVAILABLE).then_some(2);
        Self::Fault(Box::new(Fault {
            code,
            detail: None,
            errors: Vec::new(),
            retry_after,
            headers: Vec::new(),
            undone: false,
        }))
    }

    fn map(mut self, change: impl FnOnce(&mut Fault)) -> Self {
        if let Self::Fault(fault) = &mut self {
            change(fault);
        }
        self
    }

    /// With a more exact sentence.
    #[must_use]
    pub fn detail(self, detail: impl Into<String>) -> Self {
        self.map(|fault| fault.detail = Some(detail.into()))
    }

    /// With every single fault.
    #[must_use]
    pub fn errors(self, errors: Vec<FieldError>) -> Self {
        self.map(|fault| fault.errors = errors)
    }

    /// With `Retry-After`.
    #[must_use]
    pub fn retry_after(self, seconds: u32) -> Self {
        self.map(|fault| fault.retry_after = Some(seconds))
    }

    /// As something that the database undid since two transactions stood in each other's way.
    #[must_use]
    pub fn undone(self) -> Self {
        self.map(|fault| fault.undone = true)
    }

    /// With a header field.
    #[must_use]
    pub fn header(self, name: &'static str, value: impl Into<String>) -> Self {
        self.map(|fault| fault.headers.push((name, value.into())))
    }

    /// Something inside went wrong: logs the cause chain once and shows none of it.
    pub fn internal(cause: &dyn std::error::Error) -> Self {
        let mut chain = cause.to_string();
        let mut next = cause.source();
        while let Some(deeper) = next {
            chain.push_str(": ");
            chain.push_str(&deeper.to_string());
            next = deeper.source();
        }
        tracing::error!(cause = %chain, "internal error");
        Self::new(Code::Internal)
    }

    /// Something that cannot happen did: logs it and shows none of it.
    #[must_use]
    pub fn broken(what: &'static str) -> Self {
        tracing::error!(what, "broken invariant");
        Self::new(Code::Internal)
    }

    /// The code, if this is a fault.
    #[must_use]
    pub fn code(&self) -> Option<Code> {
        match self {
            Self::Fault(fault) => Some(fault.code),
            Self::Replayed(_) => None,
        }
    }
}

impl From<Code> for ApiError {
    fn from(code: Code) -> Self {
        Self::new(code)
    }
}

impl std::fmt::Display for ApiError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Fault(fault) => f.write_str(fault.code.name()),
            Self::Replayed(_) => f.write_str("replayed"),
        }
    }
}

impl std::error::Error for ApiError {}

impl ResponseError for ApiError {
    fn status_code(&self) -> StatusCode {
        match self {
            Self::Fault(fault) => fault.code.status(),
            Self::Replayed(reply) => reply.status,
        }
    }

    /// The fault travels in the response's extensions; the outermost middleware, which knows the request id, writes it out.
    fn error_response(&self) -> HttpResponse {
        match self {
            Self::Fault(fault) => {
                let mut response = HttpResponse::new(fault.code.status());
                response.extensions_mut().insert(Fault::clone(fault));
                response
            }
            Self::Replayed(reply) => {
                let mut response = reply.respond();
                response.headers_mut().insert(
                    header::HeaderName::from_static("idempotency-replayed"),
                    header::HeaderValue::from_static("true"),
                );
                response
            }
        }
    }
}

impl Fault {
    /// The problem document for this fault.
    #[must_use]
    pub fn problem(&self, request_id: &str) -> Problem {
        Problem {
            kind: format!("/problems/{}", self.code.name()),
            title: self.code.title().to_owned(),
            status: self.code.status().as_u16(),
            code: self.code.name().to_owned(),
            detail: within(self.detail.as_deref().unwrap_or_else(|| self.code.detail()), 2_000),
            instance: format!("urn:x-caselot:request:{request_id}"),
            request_id: request_id.to_owned(),
            errors: self.errors.iter().take(1_000).map(FieldError::within_its_bounds).collect(),
        }
    }
}

impl FieldError {
    /// As the document promises it, whatever was sent and stands in it.
    fn within_its_bounds(&self) -> Self {
        Self {
            pointer: self.pointer.as_deref().map(|text| within(text, 400)),
            parameter: self.parameter.as_deref().map(|text| within(text, 100)),
            code: within(&self.code, 80),
            detail: within(&self.detail, 1_000),
        }
    }
}

/// The text, held to so many characters.
fn within(text: &str, most: usize) -> String {
    if text.chars().nth(most).is_none() {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::{ApiError, Code, FieldError, within};

    #[test]
    fn what_was_sent_never_makes_a_problem_longer_than_the_document_says() {
        for (text, most, held) in [("plum", 4, "plum"), ("plums", 4, "plu…"), ("Zoë", 3, "Zoë"), ("", 1, "")] {
            assert_eq!(within(text, most), held);
        }
        let long = "é".repeat(5_000);
        let faults = vec![FieldError::at(&*long, "unknown", &*long), FieldError::parameter(&*long, &*long, "x")];
        let ApiError::Fault(fault) = ApiError::new(Code::Invalid).detail(long).errors(faults) else { panic!() };
        let problem = fault.problem("request-1");
        let length = |text: &str| text.chars().count();
        let first = &problem.errors[0];
        assert_eq!(
            (length(&problem.detail), length(first.pointer.as_ref().unwrap()), length(&first.detail)),
            (2_000, 400, 1_000)
        );
        let second = &problem.errors[1];
        assert_eq!((length(second.parameter.as_ref().unwrap()), length(&second.code), &*second.detail), (100, 80, "x"));
    }
}
