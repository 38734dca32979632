//! The problem answers of the document.

use super::Problem;

/// The problem answers that every operation can give; named in each operation's `responses(..)`.
#[derive(utoipa::IntoResponses)]
pub enum Problems {
    /// The request could not be read.
    #[response(status = 400, content_type = "application/problem+json")]
    BadRequest(Problem),
    /// You are not signed in, or the sign-in has ended.
    #[response(status = 401, content_type = "application/problem+json")]
    Unauthorized(Problem),
    /// You may not do this.
    #[response(status = 403, content_type = "application/problem+json")]
    Forbidden(Problem),
    /// It does not exist, or not for you.
    #[response(status = 404, content_type = "application/problem+json")]
    NotFound(Problem),
    /// This method does not exist here.
    #[response(status = 405, content_type = "application/problem+json")]
    MethodNotAllowed(Problem),
    /// The request came too slowly.
    #[response(status = 408, content_type = "application/problem+json")]
    RequestTimeout(Problem),
    /// It cannot be done as things stand.
    #[response(status = 409, content_type = "application/problem+json")]
    Conflict(Problem),
    /// It has changed since you read it.
    #[response(status = 412, content_type = "application/problem+json")]
    PreconditionFailed(Problem),
    /// The request is too large.
    #[response(status = 413, content_type = "application/problem+json")]
    ContentTooLarge(Problem),
    /// The address is too long.
    #[response(status = 414, content_type = "application/problem+json")]
    UriTooLong(Problem),
    /// This type of content is not read here.
    #[response(status = 415, content_type = "application/problem+json")]
    UnsupportedMediaType(Problem),
    /// The request was readable, but what it says is not valid.
    #[response(status = 422, content_type = "application/problem+json")]
    UnprocessableContent(Problem),
    /// Say which version you have read: send `If-Match`.
    #[response(status = 428, content_type = "application/problem+json")]
    PreconditionRequired(Problem),
    /// Too many requests.
    #[response(status = 429, content_type = "application/problem+json")]
    TooManyRequests(Problem),
    /// Too many or too large header fields.
    #[response(status = 431, content_type = "application/problem+json")]
    HeaderFieldsTooLarge(Problem),
    /// Something went wrong inside.
    #[response(status = 500, content_type = "application/problem+json")]
    InternalServerError(Problem),
    /// Not ready just now; try again.
    #[response(status = 503, content_type = "application/problem+json")]
    ServiceUnavailable(Problem),
}
