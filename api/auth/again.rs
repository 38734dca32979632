//! Asking again who asks, for an answer that goes on for minutes: what is read for it later is read with the rights that its
//! reader has then, in a short transaction of its own.

use std::rc::Rc;

use actix_web::http::Method;
use actix_web::{FromRequest, HttpMessage as _, HttpRequest};
use chrono::{DateTime, TimeDelta, Utc};

use super::actor::{Actor, Entered};
use super::arrive::{Door, RequestId};
use super::caller::{Caller, unknown};
use super::operations::Operation;
use super::token::ACCESS_SECONDS;
use super::tx::{Cause, Tx};
use crate::common::clock;
use crate::common::ids::UnitId;
use crate::error::{ApiError, Code};

/// Whoever asked, to be asked about again while the answer goes on. It reads only.
#[derive(Debug)]
pub struct Again {
    door: Rc<Door>,
    operation: Operation,
    caller: Caller,
    unit: UnitId,
    request_id: String,
}

impl FromRequest for Again {
    type Error = ApiError;
    type Future = std::future::Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut actix_web::dev::Payload) -> Self::Future {
        std::future::ready(Self::of(request).ok_or_else(|| ApiError::broken("an answer that goes on for nobody")))
    }
}

impl Again {
    fn of(request: &HttpRequest) -> Option<Self> {
        let door = request.app_data::<Rc<Door>>().cloned()?;
        let operation = door.operations.find(&request.match_pattern()?, &Method::GET).cloned()?;
        let caller = door.caller_of(request.headers(), clock::real_now())?;
        let unit = request.match_info().get("unit_id")?.parse().ok().map(UnitId)?;
        let request_id = request.extensions().get::<RequestId>().map(|RequestId(id)| id.clone()).unwrap_or_default();
        Some(Self { door, operation, caller, unit, request_id })
    }

    /// The unit.
    #[must_use]
    pub fn unit(&self) -> UnitId {
        self.unit
    }

    /// How much longer the token holds by which it was asked; none for a key, whose end the database knows.
    #[must_use]
    pub fn token_lasts(&self, now: DateTime<Utc>) -> Option<TimeDelta> {
        match self.caller {
            Caller::Session { issued, .. } => Some(issued + TimeDelta::seconds(ACCESS_SECONDS) - now),
            Caller::Key(_) => None,
        }
    }

    /// Who asks now, and a transaction that reads what they may.
    ///
    /// # Errors
    /// 401 when the token, the session or the key has ended, 404 without a place in the unit, and database faults.
    pub async fn enter(&self) -> Result<(Actor, Tx), ApiError> {
        let real_now = clock::real_now();
        if self.token_lasts(real_now).is_some_and(|left| left <= TimeDelta::zero()) {
            return Err(unknown(false));
        }
        let message = self.caller.message(Some(self.unit), real_now, true);
        let (connection, answer) = self.door.db.open(&message).await?;
        let Some(text) = answer else { return Err(unknown(matches!(self.caller, Caller::Key(_)))) };
        let entered: Entered = serde_json::from_str(&text).map_err(|error| ApiError::internal(&error))?;
        self.door.let_in(&self.operation, &entered)?;
        let principal = self.caller.principal(&entered);
        let now = clock::season_now(real_now, entered.offset_seconds);
        let actor = Actor { entered, principal, now, real_now };
        let (action, request_id) = (self.operation.id.clone(), self.request_id.clone());
        let cause = Cause { actor: actor.log_name(), action, request_id, now, real_now };
        Ok((actor, Tx::new(connection, Some(self.unit), cause, None)))
    }
}

impl Door {
    /// Holds whoever asks to having a place in the unit, and to a second factor where one is owed.
    pub(super) fn let_in(&self, operation: &Operation, entered: &Entered) -> Result<(), ApiError> {
        if operation.in_unit && entered.person_id.is_none() {
            return Err(Code::NotFound.into());
        }
        let missing = entered.answers_for_much && !entered.second_factor;
        if self.second_factor_required && missing && !operation.without_second_factor {
            return Err(Code::SecondFactorMissing.into());
        }
        Ok(())
    }
}
