//! The middleware that meets every request before its handler: who asks, the whole body, and the open transaction.
//!
//! Order (design.md): size -> token -> body, under a deadline and a limit -> one message that opens the transaction,
//! sets the row-security context and says who asks -> 401 -> 404 without a role in the unit. The body comes before the
//! transaction, since a slow sender must not hold a connection.

use std::rc::Rc;
use std::sync::Arc;

use actix_web::body::BoxBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::{Method, header};
use actix_web::middleware::Next;
use actix_web::web::Bytes;
use actix_web::{Error, HttpMessage as _};
use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::actor::{Actor, Entered};
use super::aside;
use super::attempts;
use super::body::read_body;
use super::caller::{Caller, network, program, sends_key, unknown};
use super::db::Db;
use super::front::nowhere;
use super::idempotency::{self, SafeRetry};
use super::operations::{Access, Operation, Operations};
use super::rate::{Counted, Rate};
use super::token::{self, SigningKeys};
use super::tx::{Cause, Tx};
use crate::common::body::RawBody;
use crate::common::clock;
use crate::common::ids::UnitId;
use crate::error::{ApiError, Code};

/// The largest JSON body, in bytes.
pub const LARGEST_JSON: usize = 256 * 1_024;

/// The largest uploaded list, in bytes.
pub const LARGEST_FILE: usize = 5 * 1_024 * 1_024;

/// What a permit is made of.
#[derive(Debug)]
pub(super) struct Arrival {
    pub actor: Actor,
    pub unit: Option<UnitId>,
    pub tx: Tx,
    pub unknown_parameter: Option<String>,
}

/// Where a request came from.
#[derive(Clone, Debug)]
pub struct Origin {
    /// The operation.
    pub operation: String,
    /// The request.
    pub request_id: String,
    /// The sender's address: the peer's, or what a listed proxy says of it.
    pub address: String,
    /// What the sender's program calls itself; nothing is believed about it.
    pub program: Option<String>,
    /// A query parameter that the operation does not have.
    pub(super) unknown_parameter: Option<String>,
}

/// The id of a request, set by the outermost middleware.
#[derive(Clone, Debug)]
pub(super) struct RequestId(pub String);

/// What the middleware needs; one per worker.
#[derive(Clone, Debug)]
pub struct Door {
    /// The worker's pool.
    pub db: Db,
    /// The operations of the document.
    pub operations: Arc<Operations>,
    /// The keys of access tokens.
    pub keys: SigningKeys,
    /// The counter of requests.
    pub rate: Rate,
    /// Whether whoever answers for much must have a second factor.
    pub second_factor_required: bool,
    /// Proxies whose word about the sender's address is taken.
    pub trusted_proxies: Arc<Vec<ipnet::IpNet>>,
}

/// Meets a request, and lets it pass to its handler or answers.
///
/// # Errors
/// Whatever the handler answers.
pub(super) async fn meet(mut request: ServiceRequest, next: Next<BoxBody>) -> Result<ServiceResponse, Error> {
    let pattern = request.match_pattern();
    let door = request.app_data::<Rc<Door>>().cloned();
    let Some((door, pattern)) = door.zip(pattern) else { return next.call(request).await };
    let Some(operation) = door.operations.find(&pattern, request.method()).cloned() else {
        // The router would go on to a later pattern that has an id where this path has a word.
        if door.operations.has(&pattern) {
            let answer = nowhere(&door.operations, request.request());
            return Ok(request.into_response(answer));
        }
        return next.call(request).await;
    };
    match door.admit(&mut request, &operation).await {
        Ok(in_unit) => {
            let response = attempts::handle(&door, &operation, &next, request).await?;
            if let Some((actor, unit)) = in_unit
                && response.status().as_u16() == 403
            {
                aside::note_refusal(&door.db, actor, unit, operation.id);
            }
            Ok(response)
        }
        Err(error) => Ok(request.error_response(error)),
    }
}

/// Who is in a unit, for the count of refusals.
type InUnit = Option<(Actor, UnitId)>;

impl Door {
    async fn admit(&self, request: &mut ServiceRequest, operation: &Operation) -> Result<InUnit, ApiError> {
        let limit = if operation.takes_file { LARGEST_FILE } else { LARGEST_JSON };
        let declared =
            request.headers().get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<usize>().ok());
        if declared.is_some_and(|length| length > limit) {
            return Err(Code::TooLarge.into());
        }
        let real_now = clock::real_now();
        let address = self.address(request);
        let caller = match operation.access {
            Access::Public => None,
            _ => Some(self.caller(request, real_now).ok_or_else(|| unknown(sends_key(request)))?),
        };
        self.count(request, &caller.as_ref().map_or_else(|| format!("address:{address}"), Caller::name))?;
        let body = read_body(request, limit).await?;
        let request_id = request.extensions().get::<RequestId>().map(|RequestId(id)| id.clone()).unwrap_or_default();
        request.extensions_mut().insert(RawBody(body.clone()));
        request.extensions_mut().insert(Origin {
            operation: operation.id.clone(),
            request_id: request_id.clone(),
            address,
            program: program(request),
            unknown_parameter: operation.unknown_parameter(request.query_string()),
        });
        let Some(caller) = caller else { return Ok(None) };
        let arrival = self.enter(request, operation, &caller, &body, request_id, real_now).await?;
        let in_unit = arrival.unit.map(|unit| (arrival.actor.clone(), unit));
        request.extensions_mut().insert(arrival);
        Ok(in_unit)
    }

    /// Opens another transaction for a request whose first one the database has undone, and learns anew who asks.
    pub(super) async fn enter_again(
        &self,
        request: &mut ServiceRequest,
        operation: &Operation,
    ) -> Result<(), ApiError> {
        let real_now = clock::real_now();
        let caller = self.caller(request, real_now).ok_or_else(|| unknown(sends_key(request)))?;
        let body = request.extensions().get::<RawBody>().map(|RawBody(body)| body.clone()).unwrap_or_default();
        let request_id = request.extensions().get::<RequestId>().map(|RequestId(id)| id.clone()).unwrap_or_default();
        let arrival = self.enter(request, operation, &caller, &body, request_id, real_now).await?;
        request.extensions_mut().insert(arrival);
        Ok(())
    }

    fn caller(&self, request: &ServiceRequest, now: DateTime<Utc>) -> Option<Caller> {
        self.caller_of(request.headers(), now)
    }

    /// Who sends these header fields, as far as they alone tell.
    pub(super) fn caller_of(&self, headers: &header::HeaderMap, now: DateTime<Utc>) -> Option<Caller> {
        let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
        let (scheme, token) = value.split_once(' ')?;
        if !scheme.eq_ignore_ascii_case("bearer") {
            return None;
        }
        if token.starts_with(token::KEY_PREFIX) {
            return token::is_key(token).then(|| Caller::Key(token::digest(token)));
        }
        self.keys.check(token, now).map(|claims| Caller::Session {
            account: claims.sub.0,
            session: claims.sid.0,
            issued: claims.issued_at(),
        })
    }

    fn count(&self, request: &mut ServiceRequest, principal: &str) -> Result<(), ApiError> {
        match self.rate.count(principal) {
            Counted::Passes(remaining) => {
                let fields =
                    RateFields { policy: self.rate.policy(), state: format!("\"default\";r={remaining};t=60") };
                request.extensions_mut().insert(fields);
                Ok(())
            }
            Counted::Waits(seconds) => Err(ApiError::new(Code::TooManyRequests)
                .retry_after(seconds)
                .header("ratelimit-policy", self.rate.policy())
                .header("ratelimit", format!("\"default\";r=0;t={seconds}"))),
        }
    }

    /// The sender's address. Only a listed proxy is believed about it (R47).
    fn address(&self, request: &ServiceRequest) -> String {
        let peer = request.peer_addr().map(|peer| peer.ip());
        let trusted = peer.is_some_and(|peer| self.trusted_proxies.iter().any(|net| net.contains(&peer)));
        let said = request.headers().get("x-forwarded-for").and_then(|value| value.to_str().ok()?.rsplit(',').next());
        let said = said.filter(|_| trusted).and_then(|text| text.trim().parse().ok());
        said.or(peer).map_or_else(|| "unknown".to_owned(), network)
    }

    async fn enter(
        &self,
        request: &ServiceRequest,
        operation: &Operation,
        caller: &Caller,
        body: &Bytes,
        request_id: String,
        real_now: DateTime<Utc>,
    ) -> Result<Arrival, ApiError> {
        let unit = unit_of(request, operation);
        let read_only = *request.method() == Method::GET;
        let (connection, answer) = self.db.open(&caller.message(unit, real_now, read_only)).await?;
        let entered: Entered = match answer {
            Some(text) => serde_json::from_str(&text).map_err(|error| ApiError::internal(&error))?,
            None => return Err(unknown(matches!(caller, Caller::Key(_)))),
        };
        self.let_in(operation, &entered)?;
        if operation.steps_up && entered.key_id.is_some() {
            return Err(Code::KeyMayNot.into());
        }
        let principal = caller.principal(&entered);
        if let Some(key) = entered.key_id {
            aside::note_key_use(&self.db, key);
        }
        let now = clock::season_now(real_now, entered.offset_seconds);
        let proof_owed = operation.steps_up && !entered.proven(real_now);
        let actor = Actor { entered, principal, now, real_now };
        let unit = unit.filter(|_| operation.in_unit);
        let retry = safe_retry(request, unit, &actor, || self.keys.digests_of_body(body))?;
        let cause = Cause { actor: actor.log_name(), action: operation.id.clone(), request_id, now, real_now };
        Ok(Arrival {
            actor,
            unit,
            tx: Tx::new(connection, unit, cause, retry).owing_proof(proof_owed),
            unknown_parameter: operation.unknown_parameter(request.query_string()),
        })
    }
}

/// The unit in the path. A malformed id names no unit, like an unknown one: the same 404.
fn unit_of(request: &ServiceRequest, operation: &Operation) -> Option<UnitId> {
    if !operation.in_unit {
        return None;
    }
    let text = request.path().split('/').nth(3)?;
    Uuid::try_parse(text).ok().map(UnitId)
}

fn safe_retry(
    request: &ServiceRequest,
    unit: Option<UnitId>,
    actor: &Actor,
    digests: impl FnOnce() -> Vec<Vec<u8>>,
) -> Result<Option<SafeRetry>, ApiError> {
    if *request.method() != Method::POST {
        return Ok(None);
    }
    let sent = request.headers().get("idempotency-key").map(|value| value.to_str().unwrap_or(""));
    let key = idempotency::key_of(sent)?;
    Ok(key.map(|key| SafeRetry {
        unit,
        principal: actor.log_name(),
        method: request.method().to_string(),
        path: request.uri().path_and_query().map(ToString::to_string).unwrap_or_default(),
        key,
        body_digests: digests(),
    }))
}

/// The header fields that tell how many requests are left.
#[derive(Clone, Debug)]
pub(super) struct RateFields {
    pub policy: String,
    pub state: String,
}
