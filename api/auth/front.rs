//! The outermost middleware: request id, panics, the problem document, the header fields of every answer, one log line.

use std::panic::AssertUnwindSafe;

use actix_web::body::BoxBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage as _, HttpResponse};
use futures_util::FutureExt as _;
use uuid::Uuid;

use super::arrive::{RateFields, RequestId, meet};
use super::metrics;
use crate::error::{ApiError, Code, Fault};

/// On a request for the header fields alone (HEAD): an answer that would go on for minutes has no body to wait for.
#[derive(Clone, Copy, Debug)]
pub struct HeadersAlone;

/// Meets a request at the very front and sees to its answer.
///
/// # Errors
/// Only a panic and a passed deadline leave as an error, which carries its finished answer: the request is gone by then.
pub async fn front(mut request: ServiceRequest, next: Next<BoxBody>) -> Result<ServiceResponse, Error> {
    let started = std::time::Instant::now();
    let request_id = request_id(request.headers());
    request.extensions_mut().insert(RequestId(request_id.clone()));
    let method = request.method().clone();
    if method == Method::HEAD {
        // A HEAD is a GET whose body stays here; the framework leaves it out by the method it read.
        request.head_mut().method = Method::GET;
        request.extensions_mut().insert(HeadersAlone);
    }
    let pattern = request.match_pattern().unwrap_or_default();
    let page = request.path().starts_with("/reference");
    let outcome = AssertUnwindSafe(guarded(request, next)).catch_unwind().await;
    let (status, outcome) = match outcome {
        Ok(Ok(response)) => {
            let rate = response.request().extensions().get::<RateFields>().cloned();
            let status = response.status();
            let failed = status.is_client_error() || status.is_server_error();
            let mut response = if failed {
                let problem = as_problem(response.response(), &request_id);
                response.into_response(problem)
            } else {
                response
            };
            dress(response.headers_mut(), &request_id, page, rate.as_ref());
            (response.status(), Ok(response))
        }
        // The request is gone: with a handler that panicked, or that goes on after its deadline.
        gone => {
            let fault = if let Ok(Err(error)) = gone {
                error.error_response()
            } else {
                tracing::error!(request_id, "a handler panicked");
                HttpResponse::from_error(ApiError::new(Code::Internal))
            };
            let mut answer = as_problem(&fault, &request_id);
            dress(answer.headers_mut(), &request_id, page, None);
            (answer.status(), Err(InternalError::from_response("the request is gone", answer).into()))
        }
    };
    let micros = u64::try_from(started.elapsed().as_micros()).unwrap_or(u64::MAX);
    let method = metrics::name(&method);
    metrics::observe(&pattern, method, status, micros);
    tracing::info!(request_id, method, pattern, status = status.as_u16(), micros, "answered");
    outcome
}

async fn guarded(request: ServiceRequest, next: Next<BoxBody>) -> Result<ServiceResponse, Error> {
    if request.uri().path_and_query().is_some_and(|path| path.as_str().len() > 8 * 1_024) {
        return Ok(request.error_response(ApiError::new(Code::UriTooLong)));
    }
    if too_large(request.headers()) {
        return Ok(request.error_response(ApiError::new(Code::HeadersTooLarge)));
    }
    meet(request, next).await
}

/// More than 96 header fields, or one longer than 8 KiB, as the document says of `If-None-Match`. A token of that length is
/// no token and gets 401.
fn too_large(headers: &HeaderMap) -> bool {
    let long = |(name, value): (&HeaderName, &HeaderValue)| *name != header::AUTHORIZATION && value.len() > 8 * 1_024;
    headers.len() > 96 || headers.iter().any(long)
}

/// The caller's request id if it is short and plain, or a new one.
fn request_id(headers: &HeaderMap) -> String {
    let sent = headers.get("x-request-id").and_then(|value| value.to_str().ok());
    let plain =
        |id: &&str| (8..=64).contains(&id.len()) && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
    sent.filter(plain).map_or_else(|| Uuid::now_v7().to_string(), str::to_owned)
}

/// Writes the problem document: of the handler's fault, or of the status alone where the framework answered.
fn as_problem(response: &HttpResponse, request_id: &str) -> HttpResponse {
    let fault = response.extensions().get::<Fault>().cloned();
    let fault = fault.unwrap_or_else(|| Fault {
        code: Code::for_status(response.status()),
        detail: None,
        errors: Vec::new(),
        retry_after: None,
        headers: Vec::new(),
        undone: false,
    });
    let body = serde_json::to_vec(&fault.problem(request_id)).unwrap_or_default();
    let mut answer = HttpResponse::build(fault.code.status());
    answer.insert_header((header::CONTENT_TYPE, "application/problem+json"));
    if let Some(seconds) = fault.retry_after {
        answer.insert_header((header::RETRY_AFTER, seconds.to_string()));
    }
    if fault.code.status() == StatusCode::UNAUTHORIZED {
        // RFC 9110, section 15.5.2: every 401 says how to sign in; a fault that knows more overwrites it below.
        answer.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
    }
    for (name, value) in &fault.headers {
        answer.insert_header((*name, value.as_str()));
    }
    answer.body(body)
}

/// The fields that every answer carries.
fn dress(headers: &mut HeaderMap, request_id: &str, page: bool, rate: Option<&RateFields>) {
    let mut set = |name: &'static str, value: &str| {
        if let Ok(value) = HeaderValue::from_str(value) {
            headers.insert(HeaderName::from_static(name), value);
        }
    };
    set("x-request-id", request_id);
    set("x-content-type-options", "nosniff");
    set("referrer-policy", "no-referrer");
    set("x-frame-options", "DENY");
    if let Some(rate) = rate {
        set("ratelimit-policy", &rate.policy);
        set("ratelimit", &rate.state);
    }
    if !headers.contains_key(header::CONTENT_SECURITY_POLICY) {
        let policy = if page { REFERENCE_POLICY } else { "default-src 'none'; frame-ancestors 'none'" };
        headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
    }
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}

/// The reference page runs its own script and reaches this server only.
const REFERENCE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
     connect-src 'self'; font-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'";

/// The answer to a path or method that the document does not have.
#[must_use]
pub fn nowhere(operations: &super::operations::Operations, request: &actix_web::HttpRequest) -> HttpResponse {
    match operations.allow(request.path()) {
        Some(allow) if request.method() == Method::OPTIONS => {
            HttpResponse::build(StatusCode::NO_CONTENT).insert_header((header::ALLOW, allow)).finish()
        }
        Some(allow) => HttpResponse::from_error(ApiError::new(Code::MethodNotAllowed).header("allow", allow)),
        None => HttpResponse::from_error(ApiError::new(Code::NotFound)),
    }
}

#[cfg(test)]
mod tests {
    use actix_web::middleware::from_fn;
    use actix_web::{App, HttpResponse, test, web};

    use super::front;

    async fn panics() -> HttpResponse {
        panic!("a planted panic")
    }

    #[actix_web::test]
    async fn a_panic_is_answered_by_a_problem_with_the_request_id_and_the_worker_lives() {
        #[expect(clippy::disallowed_methods, reason = "a handler that panics is no operation")]
        let app = App::new().route("/panics", web::get().to(panics)).wrap(from_fn(front));
        let app = test::init_service(app).await;
        for _ in 0..2 {
            let request =
                test::TestRequest::get().uri("/panics").insert_header(("x-request-id", "planted-1")).to_request();
            let error = test::try_call_service(&app, request).await.unwrap_err();
            let answer = error.error_response();
            assert_eq!(answer.status().as_u16(), 500);
            assert_eq!(answer.headers().get("content-type").unwrap(), "application/problem+json");
            let body = actix_web::body::to_bytes(answer.into_body()).await.unwrap();
            let body: serde_json::Value = serde_json::from_slice(&body).unwrap();
            assert_eq!((&body["code"], &body["request_id"]), (&"internal".into(), &"planted-1".into()));
        }
    }
}
