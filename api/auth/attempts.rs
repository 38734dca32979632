//! Running a handler: under a deadline, and again where the database has undone it.
//!
//! A deadlock or a failed serialization is nobody's mistake: the database undoes one of the transactions that stood in each
//! other's way, whole, and what was asked for can be done right after (R29). So the request runs anew from the opening of its
//! transaction, a few times, before anybody hears of it.

use std::time::Duration;

use actix_web::Error;
use actix_web::body::BoxBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::middleware::Next;
use rand::RngExt as _;

use super::arrive::Door;
use super::operations::{Access, Operation};
use crate::error::{ApiError, Code, Fault};

/// How long a handler may take: longer than its statements may (R36), so that this is met by a frozen database only.
const HANDLER_DEADLINE: Duration = Duration::from_secs(15);

/// How often a request is tried anew.
const MOST_AGAIN: u32 = 3;

/// Runs the handler, and again while the database undoes it; then its 503 goes out.
pub(super) async fn handle(
    door: &Door,
    operation: &Operation,
    next: &Next<BoxBody>,
    mut request: ServiceRequest,
) -> Result<ServiceResponse, Error> {
    let mut again = 0_u32;
    loop {
        let response = once(next, request).await?;
        // What is public may open several transactions, of which the first has counted already (a try to sign in).
        if again == MOST_AGAIN || matches!(operation.access, Access::Public) || !undone(&response) {
            return Ok(response);
        }
        again += 1;
        tracing::info!(operation = operation.id, again, "undone by the database; tried again");
        tokio::time::sleep(pause(again)).await;
        let (http, _) = response.into_parts();
        request = ServiceRequest::from_request(http);
        // The router has marked the path as matched; it matches it anew.
        request.match_info_mut().reset();
        if let Err(error) = door.enter_again(&mut request, operation).await {
            return Ok(request.error_response(error));
        }
    }
}

fn undone(response: &ServiceResponse) -> bool {
    response.response().extensions().get::<Fault>().is_some_and(|fault| fault.undone)
}

/// Longer each time, and by chance, so that those who met do not meet again.
fn pause(again: u32) -> Duration {
    let most = 40_u64.saturating_mul(1_u64 << again.min(6));
    Duration::from_millis(rand::rng().random_range(10..=most))
}

/// Runs the handler as a task of its own, and answers 503 if it takes longer than any deadline of the database allows:
/// then the database is frozen. The task is not cancelled (R33); should it go on and commit, the same request with its
/// `Idempotency-Key` finds the stored answer.
async fn once(next: &Next<BoxBody>, request: ServiceRequest) -> Result<ServiceResponse, Error> {
    let handler = actix_web::rt::spawn(next.call(request));
    match tokio::time::timeout(HANDLER_DEADLINE, handler).await {
        Ok(Ok(answer)) => answer,
        Ok(Err(fault)) if fault.is_panic() => std::panic::resume_unwind(fault.into_panic()),
        Ok(Err(fault)) => Err(ApiError::internal(&fault).into()),
        Err(_) => {
            tracing::warn!("a handler did not end in time");
            Err(ApiError::from(Code::Unavailable).into())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_and_stay_short() {
        for (again, most) in [(1, 80), (2, 160), (3, 320)] {
            for _ in 0..200 {
                let pause = pause(again).as_millis();
                assert!((10..=most).contains(&pause), "{again}: {pause}");
            }
        }
    }
}
