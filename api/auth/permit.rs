//! Permits: the first argument of every handler, and the only key to the database.
//!
//! All of them are ready at once (the middleware did the waiting), so that a broken body can never be answered before a
//! missing permission.

use std::cell::RefCell;
use std::future::{Ready, ready};
use std::marker::PhantomData;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpMessage as _, HttpRequest};
use chrono::{DateTime, Utc};

use super::actor::{Actor, Principal, Scope};
use super::arrive::{Arrival, Origin};
use super::db::Db;
use super::permission::{self, Permission};
use super::tx::{Cause, Tx};
use crate::common::clock;
use crate::common::ids::{PersonId, SessionId, TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError};

/// Leave to do what `P` names, with how far it reaches and the transaction to do it in.
#[derive(Debug)]
pub struct Permit<P: Permission> {
    actor: Actor,
    unit: Option<UnitId>,
    scope: Scope,
    read_scope: Scope,
    tx: RefCell<Option<Tx>>,
    permission: PhantomData<fn() -> P>,
}

impl<P: Permission> FromRequest for Permit<P> {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(arrival(request).and_then(Self::grant))
    }
}

fn arrival(request: &HttpRequest) -> Result<Arrival, ApiError> {
    request.extensions_mut().remove::<Arrival>().ok_or_else(|| ApiError::broken("a permit without an arrival"))
}

impl<P: Permission> Permit<P> {
    fn grant(arrival: Arrival) -> Result<Self, ApiError> {
        let Arrival { actor, unit, tx, unknown_parameter } = arrival;
        let for_people = P::STEP_UP || (P::WRITES && !permission::KEY_MAY_CHANGE.contains(&P::NAME));
        if actor.is_key() && for_people {
            return Err(ApiError::new(Code::KeyMayNot)
                .detail(format!("A key for scripts may not do this ({}). Sign in as a person.", P::NAME)));
        }
        let scope = actor.scope::<P>();
        if scope == Scope::Nothing && actor.is_key() {
            let detail = format!(
                "This key does not have the permission {}: it was not given it, or its owner has it no longer. Make a key with it.",
                P::NAME
            );
            return Err(ApiError::new(Code::Forbidden).detail(detail));
        }
        if scope == Scope::Nothing {
            return Err(forbidden::<P>());
        }
        known(unknown_parameter)?;
        let read_scope = actor.scope::<P::Read>();
        Ok(Self { actor, unit, scope, read_scope, tx: RefCell::new(Some(tx)), permission: PhantomData })
    }

    /// The transaction of this request. There is one: a second call is a mistake and answers 500.
    ///
    /// # Errors
    /// Only that mistake.
    pub fn tx(&self) -> Result<Tx, ApiError> {
        self.tx.borrow_mut().take().ok_or_else(|| ApiError::broken("a second transaction was asked of one permit"))
    }

    /// The unit in the path.
    ///
    /// # Errors
    /// 404 if the path names none.
    pub fn unit(&self) -> Result<UnitId, ApiError> {
        self.unit.ok_or_else(|| Code::NotFound.into())
    }

    /// Who asks.
    #[must_use]
    pub fn actor(&self) -> &Actor {
        &self.actor
    }

    /// The person who asks, in the unit of the path.
    ///
    /// # Errors
    /// 404 outside a unit.
    pub fn person(&self) -> Result<PersonId, ApiError> {
        self.actor.entered.person_id.ok_or_else(|| Code::NotFound.into())
    }

    /// The season's clock at this request.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.actor.now
    }

    /// How far this permission reaches.
    #[must_use]
    pub fn scope(&self) -> &Scope {
        &self.scope
    }

    /// How far the permission to read the same noun reaches.
    #[must_use]
    pub fn read_scope(&self) -> &Scope {
        &self.read_scope
    }

    /// Holds an act on a troop to this permit's reach.
    ///
    /// # Errors
    /// 404 if the troop cannot be seen, 403 if it can be seen but not acted on.
    pub fn reach(&self, troop: TroopId) -> Result<(), ApiError> {
        if !self.read_scope.reaches(troop) {
            return Err(Code::NotFound.into());
        }
        if !self.scope.reaches(troop) {
            return Err(ApiError::new(Code::OutOfScope)
                .detail(format!("Your permission {} does not reach this troop. Ask the unit manager.", P::NAME)));
        }
        Ok(())
    }

    /// Whether the same actor also holds `Q`, over the whole unit.
    #[must_use]
    pub fn holds<Q: Permission>(&self) -> bool {
        self.actor.scope::<Q>() == Scope::Unit
    }

    /// Asks for a second permission in the same act.
    ///
    /// # Errors
    /// 403 naming it.
    pub fn also<Q: Permission>(&self) -> Result<Scope, ApiError> {
        match self.actor.scope::<Q>() {
            Scope::Nothing => Err(forbidden::<Q>()),
            scope => Ok(scope),
        }
    }
}

/// A parameter that the operation does not have is refused: a typing error in a filter must not list everything.
fn known(unknown_parameter: Option<String>) -> Result<(), ApiError> {
    match unknown_parameter {
        None => Ok(()),
        Some(name) => {
            let fault = FieldError::parameter(
                name,
                "unknown",
                "this operation has no such parameter; the reference page lists them",
            );
            Err(ApiError::new(Code::BadParameter).errors(vec![fault]))
        }
    }
}

fn forbidden<P: Permission>() -> ApiError {
    let detail = format!(
        "This needs the permission {}, which none of your roles includes. Ask somebody who has one that does, such as the unit manager.",
        P::NAME
    );
    ApiError::new(Code::Forbidden).detail(detail)
}

/// Leave for whoever is signed in, for their own account's matters. Named in the list of exemptions, which may only shrink.
#[derive(Debug)]
pub struct SignedIn {
    actor: Actor,
    origin: Origin,
    tx: RefCell<Option<Tx>>,
}

impl FromRequest for SignedIn {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(arrival(request).and_then(|arrival| {
            known(arrival.unknown_parameter)?;
            let origin = request.extensions().get::<Origin>().cloned();
            let origin = origin.ok_or_else(|| ApiError::broken("somebody signed in from nowhere"))?;
            Ok(Self { actor: arrival.actor, origin, tx: RefCell::new(Some(arrival.tx)) })
        }))
    }
}

impl SignedIn {
    /// Who asks.
    #[must_use]
    pub fn actor(&self) -> &Actor {
        &self.actor
    }

    /// The transaction of this request; there is one.
    ///
    /// # Errors
    /// A second call answers 500.
    pub fn tx(&self) -> Result<Tx, ApiError> {
        self.tx.borrow_mut().take().ok_or_else(|| ApiError::broken("a second transaction was asked of one permit"))
    }

    /// Where the request came from, for the delays of tries.
    #[must_use]
    pub fn origin(&self) -> &Origin {
        &self.origin
    }

    /// The session by which a person asks.
    ///
    /// # Errors
    /// 403 for a key.
    pub fn session(&self) -> Result<SessionId, ApiError> {
        match self.actor.principal {
            Principal::Session(session) => Ok(session),
            Principal::Key(_) => Err(Code::KeyMayNot.into()),
            Principal::Public | Principal::System => Err(ApiError::broken("signed in by no session")),
        }
    }

    /// Refuses keys for scripts.
    ///
    /// # Errors
    /// 403 for a key.
    pub fn person_only(&self) -> Result<(), ApiError> {
        if self.actor.is_key() { Err(Code::KeyMayNot.into()) } else { Ok(()) }
    }
}

/// Leave for anybody. Named in the list of exemptions, which may only shrink.
#[derive(Debug)]
pub struct Public {
    db: Db,
    origin: Origin,
}

impl FromRequest for Public {
    type Error = ApiError;
    type Future = Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let origin = request.extensions().get::<Origin>().cloned();
        let db = request.app_data::<Db>().cloned();
        let Some((db, origin)) = db.zip(origin) else {
            return ready(Err(ApiError::broken("a public operation without its origin")));
        };
        ready(known(origin.unknown_parameter.clone()).map(|()| Self { db, origin }))
    }
}

impl Public {
    /// Opens a transaction over the server's own tables.
    ///
    /// # Errors
    /// Database faults.
    pub async fn tx(&self) -> Result<Tx, ApiError> {
        let offset = "BEGIN; SELECT coalesce((select offset_seconds from cluster_clock), 0)::text";
        let (connection, offset) = self.db.open(offset).await?;
        let real_now = clock::real_now();
        let offset = offset.and_then(|text| text.parse().ok()).unwrap_or(0);
        let cause = Cause {
            actor: "public".to_owned(),
            action: self.origin.operation.clone(),
            request_id: self.origin.request_id.clone(),
            now: clock::season_now(real_now, offset),
            real_now,
        };
        Ok(Tx::new(connection, None, cause, None))
    }

    /// Where the request came from, for the delays of sign-in.
    #[must_use]
    pub fn origin(&self) -> &Origin {
        &self.origin
    }
}
