//! The whole body of a request, before anything is asked of the database: a slow sender must not hold a connection.

use std::time::Duration;

use actix_web::HttpMessage as _;
use actix_web::dev::ServiceRequest;
use actix_web::web::{Bytes, BytesMut};
use futures_util::StreamExt as _;

use crate::error::{ApiError, Code};

/// How long a whole request may take to arrive.
const BODY_DEADLINE: Duration = Duration::from_secs(15);

/// The whole body, within its limit and deadline.
pub(super) async fn read_body(request: &mut ServiceRequest, limit: usize) -> Result<Bytes, ApiError> {
    let mut payload = request.take_payload();
    let read = async {
        let mut body = BytesMut::new();
        while let Some(chunk) = payload.next().await {
            let chunk = chunk.map_err(|_| ApiError::new(Code::BadRequest))?;
            if body.len().saturating_add(chunk.len()) > limit {
                return Err(ApiError::new(Code::TooLarge));
            }
            body.extend_from_slice(&chunk);
        }
        Ok(body.freeze())
    };
    tokio::time::timeout(BODY_DEADLINE, read).await.unwrap_or_else(|_| Err(Code::RequestTimeout.into()))
}
