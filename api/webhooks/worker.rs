//! The worker: makes deliveries of the log's new rows, sends what is due, and notes what became of it.
//!
//! A delivery is taken for a minute before it is sent and noted after it. Several workers at once never have the same one; one
//! that dies between the two leaves it to whoever comes after that minute, and it is sent again with the same id.

use std::collections::HashSet;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use futures_util::future::join_all;
use secrecy::{ExposeSecret as _, SecretSlice};
use serde_json::json;

use super::address::AddressRules;
use super::rules::{self, AttemptOutcome, KEPT};
use super::send::{Message, Outside, Patience, Resolve, by_the_system};
use super::sql::work::{self, Claimed, Tried};
use super::{owner_of, sign, sql};
use crate::auth::seal::Seal;
use crate::auth::{System, Tx, wake};
use crate::common::ids::{UnitId, WebhookId};
use crate::common::{clock, retry};
use crate::error::ApiError;
use crate::events::{ACTIONS, EventSubject};
use crate::units::{LogRow, log_rows, log_rows_at};

/// How long a delivery is a worker's own: longer than everything outside may take.
const LEASE: TimeDelta = TimeDelta::seconds(60);

/// Deliveries that are under way at once, for each unit.
const AT_ONCE: i64 = 20;

/// Rows of the log that are read in one go.
const ROWS: i64 = 500;

/// How often all units are looked at, since another process may have made the first webhook of one.
const LOOK_AROUND: Duration = Duration::from_secs(10);

/// One worker.
#[derive(Clone)]
pub struct Worker {
    system: System,
    seal: Seal,
    rules: AddressRules,
    patience: Patience,
    resolve: Resolve,
}

impl std::fmt::Debug for Worker {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Worker").field("rules", &self.rules).field("patience", &self.patience).finish_non_exhaustive()
    }
}

impl Worker {
    /// One that may send where these rules allow it.
    #[must_use]
    pub fn new(system: System, seal: Seal, rules: AddressRules) -> Self {
        Self { system, seal, rules, patience: Patience::default(), resolve: by_the_system() }
    }

    /// The same with other patience.
    #[must_use]
    pub fn patient(self, patience: Patience) -> Self {
        Self { patience, ..self }
    }

    /// The same with another way to look up names.
    #[must_use]
    pub fn resolving(self, resolve: Resolve) -> Self {
        Self { resolve, ..self }
    }

    /// Works until it is dropped.
    pub async fn run(self) {
        let mut active: HashSet<UnitId> = HashSet::new();
        let mut looked: Option<tokio::time::Instant> = None;
        loop {
            let around = looked.is_none_or(|at| at.elapsed() >= LOOK_AROUND);
            let grown = wake::grown_since();
            if around {
                match self.units().await {
                    Ok(units) => {
                        active = units;
                        looked = Some(tokio::time::Instant::now());
                    }
                    Err(error) => tracing::warn!(%error, "the units were not looked at; it is tried again"),
                }
            }
            active.extend(grown);
            let rounds = join_all(active.iter().map(|unit| self.round_of(*unit))).await;
            let mut going = HashSet::new();
            for (unit, outcome) in active.iter().zip(rounds) {
                match outcome {
                    Ok(false) => {}
                    Ok(true) => {
                        going.insert(*unit);
                    }
                    Err(error) => {
                        going.insert(*unit);
                        tracing::warn!(%error, "webhooks of a unit were not sent; it is tried again");
                    }
                }
            }
            active = going;
            // Many things done at once are one round.
            tokio::time::sleep(Duration::from_millis(50)).await;
            let _ = tokio::time::timeout(Duration::from_secs(1), wake::any_grown()).await;
        }
    }

    /// One round in every unit.
    ///
    /// # Errors
    /// Database faults.
    pub async fn round(&self) -> Result<(), ApiError> {
        for unit in self.units().await? {
            self.round_of(unit).await?;
        }
        Ok(())
    }

    async fn units(&self) -> Result<HashSet<UnitId>, ApiError> {
        let mut tx = self.system.open(None, "webhooks").await?;
        Ok(crate::units::all(&mut tx).await?.into_iter().collect())
    }

    /// One round in a unit; whether it has anybody to tell.
    async fn round_of(&self, unit: UnitId) -> Result<bool, ApiError> {
        if !self.read_log(unit).await? {
            return Ok(false);
        }
        while self.send_due(unit).await? {}
        Ok(true)
    }

    /// Makes deliveries of what is new in the log.
    async fn read_log(&self, unit: UnitId) -> Result<bool, ApiError> {
        loop {
            let mut tx = self.system.open(Some(unit), "webhooks").await?;
            if !work::any(&mut tx, unit).await? {
                return Ok(false);
            }
            let head = tx.log_seq().await?;
            let behind = work::behind(&mut tx, unit, head).await?;
            if behind.is_empty() {
                return Ok(true);
            }
            let oldest = tx.now() - KEPT;
            for one in behind {
                let rows = log_rows(&mut tx, unit, one.cursor_seq, ROWS).await?;
                let wanted = |row: &&LogRow| row.at >= oldest && is_told(&one.actions, &row.action);
                let told: Vec<i64> = rows.iter().filter(wanted).map(|row| row.seq).collect();
                let read_to = rows.last().map_or(one.cursor_seq, |row| row.seq);
                work::make_deliveries(&mut tx, unit, one.webhook_id, &told, read_to).await?;
            }
            tx.commit_unlogged().await?;
        }
    }

    /// Sends what is due, as much as goes at once; whether there may be more.
    async fn send_due(&self, unit: UnitId) -> Result<bool, ApiError> {
        let mut tx = self.system.open(Some(unit), "webhooks").await?;
        let until = tx.real_now() + LEASE;
        let claimed = work::claim(&mut tx, unit, until, AT_ONCE).await?;
        if claimed.is_empty() {
            return Ok(false);
        }
        let seqs: Vec<i64> = claimed.iter().filter_map(|one| one.seq).collect();
        let rows = log_rows_at(&mut tx, unit, &seqs).await?;
        let now = tx.now();
        let mut address_rules = self.rules.clone();
        address_rules.loopback &= sql::is_demo(&mut tx).await?;
        tx.commit_unlogged().await?;
        let outside = Outside::open(address_rules, self.patience, self.resolve.clone())?;
        let sending = claimed.iter().map(|one| async {
            let row = rows.iter().find(|row| Some(row.seq) == one.seq);
            let Some(message) = self.message(unit, one, row, now) else {
                return Err(ApiError::broken("a webhook whose secret cannot be opened"));
            };
            Ok(outside.send(&one.address, message).await)
        });
        let tried = join_all(sending).await;
        for (one, tried) in claimed.iter().zip(tried) {
            match tried {
                Ok(tried) => self.note(unit, (one, until), tried).await?,
                Err(error) => tracing::warn!(%error, delivery = %one.delivery_id, "not sent"),
            }
        }
        Ok(i64::try_from(claimed.len()).is_ok_and(|count| count == AT_ONCE))
    }

    fn message(&self, unit: UnitId, claimed: &Claimed, row: Option<&LogRow>, now: DateTime<Utc>) -> Option<Message> {
        let owner = owner_of(unit, WebhookId(claimed.webhook_id));
        let former = claimed.former_until_at.filter(|until| now < *until).and(claimed.former_secret_sealed.as_deref());
        let sealed = std::iter::once(&*claimed.secret_sealed).chain(former);
        let secrets: Option<Vec<SecretSlice<u8>>> = sealed.map(|sealed| self.seal.open(sealed, &owner)).collect();
        let secrets = secrets?;
        let body = body(unit, claimed, row)?;
        let (id, timestamp) = (claimed.delivery_id.to_string(), clock::real_now().timestamp());
        let secrets = secrets.iter().map(SecretSlice::expose_secret);
        let signature = sign::signatures(secrets, (&id, timestamp), &body)?;
        Some(Message { id, timestamp, signature, body })
    }

    async fn note(&self, unit: UnitId, claimed: (&Claimed, DateTime<Utc>), tried: Tried) -> Result<(), ApiError> {
        let mut tx = self.system.open(Some(unit), "webhooks").await?;
        let (one, now) = (claimed.0, tx.now());
        let delivered = tried.outcome == AttemptOutcome::Delivered;
        let next = rules::next_try(one.tries.saturating_add(1), now, retry::chance()).filter(|_| !delivered);
        let state = match (delivered, next) {
            (true, _) => "delivered",
            (false, Some(_)) => "waiting",
            (false, None) => "given_up",
        };
        work::note(&mut tx, unit, claimed, tried, (state, next)).await?;
        if delivered {
            work::answers(&mut tx, unit, one.webhook_id).await?;
            return tx.commit_unlogged().await;
        }
        let (since, failures) = work::fails(&mut tx, unit, one.webhook_id).await?;
        tx.commit_unlogged().await?;
        match rules::gives_up(tried.outcome, failures, since, now) {
            Some(because) => self.stop(unit, WebhookId(one.webhook_id), because).await,
            None => Ok(()),
        }
    }

    /// Tells an address nothing more, and puts that into the unit's log.
    async fn stop(&self, unit: UnitId, webhook: WebhookId, because: &str) -> Result<(), ApiError> {
        let mut tx = self.system.open(Some(unit), "webhook_stopped").await?;
        if !work::lock_going(&mut tx, unit, webhook.0).await? {
            return Ok(());
        }
        let seq = tx.seq().await?;
        work::stop(&mut tx, unit, (webhook.0, because), seq).await?;
        tx.about("webhook", webhook);
        tx.commit().await
    }
}

/// Whether an action is told: it can be told to others than the log's readers, and was chosen, or none was.
fn is_told(chosen: &[String], action: &str) -> bool {
    let can = ACTIONS.iter().any(|(_, actions)| actions.contains(&action));
    can && (chosen.is_empty() || chosen.iter().any(|one| one == action))
}

/// What is sent: ids only, the same bytes at every try.
fn body(unit: UnitId, claimed: &Claimed, row: Option<&LogRow>) -> Option<Vec<u8>> {
    let (kind, at, subjects) = match (claimed.seq, row) {
        (None, _) => {
            let webhook = EventSubject { kind: "webhook".to_owned(), id: claimed.webhook_id.to_string() };
            ("test_webhook", claimed.made_at, vec![webhook])
        }
        (Some(_), Some(row)) => (&*row.action, row.at, serde_json::from_str(&row.subjects).ok()?),
        (Some(_), None) => return None,
    };
    let data = json!({"unit_id": unit, "seq": claimed.seq, "subjects": subjects});
    serde_json::to_vec(&json!({"type": kind, "timestamp": at, "data": data})).ok()
}

/// Forgets what was sent more than thirty days ago. Once a minute, in every unit.
///
/// # Errors
/// Database faults.
pub(super) async fn forget(system: System, unit: UnitId) -> Result<(), ApiError> {
    let mut tx: Tx = system.open(Some(unit), "forget_webhook_deliveries").await?;
    let before = tx.now() - KEPT;
    if work::forget(&mut tx, unit, before).await? == 0 {
        return Ok(());
    }
    tx.commit_unlogged().await
}
