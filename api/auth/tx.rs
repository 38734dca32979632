//! The transaction of a request: what reaches the database, and the one way to commit.

use chrono::{DateTime, Utc};
use serde::Serialize;
use sqlx::pool::PoolConnection;
use sqlx::postgres::{PgConnection, Postgres};

use super::chain;
use super::idempotency::{self, SafeRetry};
use super::wake;
use crate::common::answer::AsReply;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// One thing that a log row is about: ids and field names only, never values.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Subject {
    /// What it is: `troop`, `person`, `field`, ...
    pub kind: &'static str,
    /// Which one.
    pub id: String,
}

/// What a transaction knows of its cause.
#[derive(Clone, Debug)]
pub struct Cause {
    /// The name in the log.
    pub actor: String,
    /// The operation, or what the system does.
    pub action: String,
    /// The request.
    pub request_id: String,
    /// The season's clock.
    pub now: DateTime<Utc>,
    /// The real clock.
    pub real_now: DateTime<Utc>,
}

/// An open transaction with its row-security context. Dropped without [`Tx::commit_with`] it changes nothing.
#[derive(Debug)]
pub struct Tx {
    connection: PoolConnection<Postgres>,
    unit: Option<UnitId>,
    cause: Cause,
    subjects: Vec<Subject>,
    head: Option<chain::Head>,
    retry: Option<SafeRetry>,
    /// A unit in whose log the same row is written beside the server's.
    also_in: Option<UnitId>,
    /// Whether the operation asks for a newer proof of who asks than there is.
    proof_owed: bool,
}

impl Tx {
    pub(super) fn new(
        connection: PoolConnection<Postgres>,
        unit: Option<UnitId>,
        cause: Cause,
        retry: Option<SafeRetry>,
    ) -> Self {
        Self { connection, unit, cause, subjects: Vec::new(), head: None, retry, also_in: None, proof_owed: false }
    }

    pub(super) fn owing_proof(self, proof_owed: bool) -> Self {
        Self { proof_owed, ..self }
    }

    /// Refuses where the operation asks for a newer proof of who asks (`x-stepup`). [`Tx::replay`] asks for it and so does
    /// every commit; a read that is marked calls it.
    ///
    /// # Errors
    /// 403 that names the operation by which it is given.
    pub fn proven(&self) -> Result<(), ApiError> {
        if self.proof_owed { Err(crate::error::Code::StepUpNeeded.into()) } else { Ok(()) }
    }

    /// For whom and why it is open, where it is open over the server's tables only.
    pub(super) fn outside_a_unit(&self) -> Result<(Cause, Option<SafeRetry>), ApiError> {
        match self.unit {
            None => Ok((self.cause.clone(), self.retry.clone())),
            Some(_) => Err(ApiError::broken("a pause inside a unit")),
        }
    }

    /// The connection, for the queries in `sql.rs`.
    pub fn db(&mut self) -> &mut PgConnection {
        &mut self.connection
    }

    /// The season's clock at this request.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.cause.now
    }

    /// The real clock at this request, for token lifetimes only.
    #[must_use]
    pub fn real_now(&self) -> DateTime<Utc> {
        self.cause.real_now
    }

    /// The name under which this transaction acts in the log.
    #[must_use]
    pub fn actor(&self) -> &str {
        &self.cause.actor
    }

    /// Names something that the log row of this change is about.
    pub fn about(&mut self, kind: &'static str, id: impl std::fmt::Display) {
        self.subjects.push(Subject { kind, id: id.to_string() });
    }

    /// Answers a repeated request with what it got the first time, as an early return; call it after every check of
    /// reach and before every check of state. Without a key it does nothing.
    ///
    /// # Errors
    /// The stored answer; 409 while the first request runs; 422 if the body differs.
    pub async fn replay(&mut self) -> Result<(), ApiError> {
        self.proven()?;
        match self.retry.clone() {
            Some(retry) => idempotency::replay(self.db(), &retry).await,
            None => Ok(()),
        }
    }

    /// As [`Tx::replay`], for acts where repeating does harm: the key must be there.
    ///
    /// # Errors
    /// Also 400 without a key.
    pub async fn replay_required(&mut self) -> Result<(), ApiError> {
        self.proven()?;
        if self.retry.is_none() {
            return Err(crate::error::Code::IdempotencyKeyMissing.into());
        }
        self.replay().await
    }

    /// How far the unit's log had come. Read it before the rows for which it is told.
    ///
    /// # Errors
    /// Database faults; outside a unit there is no such log.
    pub async fn log_seq(&mut self) -> Result<i64, ApiError> {
        let unit = self.unit.ok_or_else(|| ApiError::broken("the log of no unit"))?;
        chain::head_seq(self.db(), unit).await
    }

    /// The log number of this change, to be written into the facts it makes. Takes the head of the log, which is the
    /// last lock: lock everything else before.
    ///
    /// # Errors
    /// Database faults.
    pub async fn seq(&mut self) -> Result<i64, ApiError> {
        if let Some(head) = &self.head {
            return Ok(head.next_seq());
        }
        let unit = self.unit;
        let head = chain::lock_head(self.db(), unit).await?;
        let seq = head.next_seq();
        self.head = Some(head);
        Ok(seq)
    }

    /// The season's clock as the log will show it: never before the row that stands before it. Call after [`Tx::seq`].
    #[must_use]
    pub fn logged_at(&self) -> DateTime<Utc> {
        self.head.as_ref().map_or(self.cause.now, |head| head.at(self.cause.now))
    }

    /// Writes the log row, stores the answer for safe retries, commits, and hands the answer back.
    ///
    /// # Errors
    /// Database faults; then nothing has happened, or (a lost reply) the retry finds the stored answer.
    pub async fn commit_with<A: AsReply>(mut self, answer: A) -> Result<A, ApiError> {
        self.seq().await?;
        if let Some(retry) = self.retry.take() {
            let at = self.cause.real_now;
            idempotency::store(self.db(), &retry, answer.reply(), at).await?;
        }
        self.finish().await?;
        Ok(answer)
    }

    /// As [`Tx::commit_with`] where the answer holds a secret that is shown once: only that it was made is stored.
    ///
    /// # Errors
    /// As [`Tx::commit_with`].
    pub async fn commit_with_secret<A: AsReply>(mut self, answer: A) -> Result<A, ApiError> {
        self.seq().await?;
        if let Some(retry) = self.retry.take() {
            let at = self.cause.real_now;
            idempotency::store_without_secret(self.db(), &retry, answer.reply(), at).await?;
        }
        self.finish().await?;
        Ok(answer)
    }

    /// Ends a read whose looking is noted (R44): the log row is a short write of its own on the same connection, and the
    /// answer is handed out only once it is there.
    ///
    /// # Errors
    /// Database faults.
    pub async fn note_reading<A: AsReply>(mut self, answer: A) -> Result<A, ApiError> {
        let unit = self.unit.ok_or_else(|| ApiError::broken("a reading outside a unit"))?;
        sqlx::raw_sql("COMMIT; BEGIN READ WRITE").execute(self.db()).await?;
        self.within_unit(unit).await?;
        self.seq().await?;
        self.finish().await?;
        Ok(answer)
    }

    /// Writes the log row and commits, for changes that answer nobody.
    ///
    /// # Errors
    /// Database faults.
    pub async fn commit(mut self) -> Result<(), ApiError> {
        self.seq().await?;
        self.finish().await
    }

    /// Commits bookkeeping that is no change of anybody's data (failed sign-ins, job states) without a log row.
    ///
    /// # Errors
    /// Database faults.
    pub async fn commit_unlogged(mut self) -> Result<(), ApiError> {
        self.end().await
    }

    /// The same transaction under a unit that it has just made.
    ///
    /// # Errors
    /// Database faults.
    pub async fn within_unit(&mut self, unit: UnitId) -> Result<(), ApiError> {
        sqlx::query!("select set_config('caselot.unit', $1, true) as context", unit.to_string())
            .fetch_one(self.db())
            .await?;
        Ok(())
    }

    /// Has the row that this change leaves in the server's log written into a unit's log too: the unit begins with it, or
    /// somebody comes into the unit by it.
    pub fn also_in_log_of(&mut self, unit: UnitId) {
        self.also_in = Some(unit);
    }

    async fn finish(&mut self) -> Result<(), ApiError> {
        self.proven()?;
        let Some(head) = self.head.take() else { return Err(ApiError::broken("a commit without a log number")) };
        let subjects = serde_json::to_string(&self.subjects).map_err(|error| ApiError::internal(&error))?;
        let cause = self.cause.clone();
        chain::append(self.db(), &head, &cause, &subjects).await?;
        let mut also = None;
        if let Some(unit) = self.also_in.take() {
            self.within_unit(unit).await?;
            let head = chain::lock_head(self.db(), Some(unit)).await?;
            chain::append(self.db(), &head, &cause, &subjects).await?;
            also = Some(unit);
        }
        self.end().await?;
        self.unit.into_iter().chain(also).for_each(wake::grown);
        Ok(())
    }

    async fn end(&mut self) -> Result<(), ApiError> {
        sqlx::raw_sql("COMMIT AND CHAIN").execute(self.db()).await?;
        Ok(())
    }
}
