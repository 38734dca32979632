//! Every query of webhooks.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::WebhooksChange;
use crate::auth::{Permit, Tx};
use crate::common::ids::{UnitId, WebhookId};
use crate::error::{ApiError, Code};

pub(super) mod sent;
pub(super) mod work;

#[derive(Clone, Debug)]
pub(super) struct WebhookRow {
    pub webhook_id: Uuid,
    pub address: String,
    pub description: Option<String>,
    pub actions: Vec<String>,
    pub secret_sealed: Vec<u8>,
    pub former_until_at: Option<DateTime<Utc>>,
    pub made_at: DateTime<Utc>,
    pub failing_since: Option<DateTime<Utc>>,
    pub stopped_at: Option<DateTime<Utc>>,
    pub stopped_because: Option<String>,
    pub ended_at: Option<DateTime<Utc>>,
    pub version: i64,
}

/// Whether this is the database of a demo or a test, whose clock can be moved.
pub(super) async fn is_demo(tx: &mut Tx) -> Result<bool, ApiError> {
    let demo = sqlx::query_scalar!(r#"select exists (select from cluster_clock) as "demo!""#);
    Ok(demo.fetch_one(tx.db()).await?)
}

pub(super) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    after: Option<WebhookId>,
    limit: i64,
) -> Result<Vec<WebhookRow>, ApiError> {
    let rows = sqlx::query_as!(
        WebhookRow,
        "select webhook_id, address, description, actions, secret_sealed, former_until_at, made_at, failing_since, stopped_at,
             stopped_because, ended_at, version
         from webhook where unit_id = $1 and ($2::uuid is null or webhook_id > $2) order by webhook_id limit $3",
        unit.0,
        after.map(|webhook| webhook.0),
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId, webhook: WebhookId) -> Result<WebhookRow, ApiError> {
    let row = sqlx::query_as!(
        WebhookRow,
        "select webhook_id, address, description, actions, secret_sealed, former_until_at, made_at, failing_since, stopped_at,
             stopped_because, ended_at, version
         from webhook where unit_id = $1 and webhook_id = $2",
        unit.0,
        webhook.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

/// Those that stopped by themselves and were neither started again nor ended.
pub(super) async fn stopped(tx: &mut Tx, unit: UnitId) -> Result<Vec<WebhookRow>, ApiError> {
    let rows = sqlx::query_as!(
        WebhookRow,
        "select webhook_id, address, description, actions, secret_sealed, former_until_at, made_at, failing_since, stopped_at,
             stopped_because, ended_at, version
         from webhook where unit_id = $1 and stopped_at is not null and ended_at is null order by webhook_id",
        unit.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(super) async fn lock(tx: &mut Tx, by: &Permit<WebhooksChange>, webhook: WebhookId) -> Result<WebhookRow, ApiError> {
    let row = sqlx::query_as!(
        WebhookRow,
        "select webhook_id, address, description, actions, secret_sealed, former_until_at, made_at, failing_since, stopped_at,
             stopped_because, ended_at, version
         from webhook where unit_id = $1 and webhook_id = $2 for no key update",
        by.unit()?.0,
        webhook.0
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}

/// How many there are that were not ended. Two who make one at once wait for each other.
pub(super) async fn count(tx: &mut Tx, by: &Permit<WebhooksChange>) -> Result<i64, ApiError> {
    let unit = by.unit()?.0;
    sqlx::query_scalar!(
        r#"select pg_advisory_xact_lock(hashtextextended('webhooks ' || $1, 0))::text as "held""#,
        unit.to_string()
    )
    .fetch_one(tx.db())
    .await?;
    let count = sqlx::query_scalar!(
        r#"select count(*) as "count!" from webhook where unit_id = $1 and ended_at is null"#,
        unit
    );
    Ok(count.fetch_one(tx.db()).await?)
}

pub(super) async fn insert(
    tx: &mut Tx,
    by: &Permit<WebhooksChange>,
    row: &WebhookRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into webhook (unit_id, webhook_id, address, description, actions, secret_sealed, cursor_seq, made_at, failures, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, 0, $9, $7)",
        by.unit()?.0,
        row.webhook_id,
        row.address,
        row.description,
        &row.actions,
        row.secret_sealed,
        log_seq,
        row.made_at,
        row.version
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Writes what can be changed of it, one version on.
pub(super) async fn update(
    tx: &mut Tx,
    by: &Permit<WebhooksChange>,
    row: &WebhookRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update webhook set address = $3, description = $4, actions = $5, ended_at = $6, version = version + 1, log_seq = $7
         where unit_id = $1 and webhook_id = $2",
        by.unit()?.0,
        row.webhook_id,
        row.address,
        row.description,
        &row.actions,
        row.ended_at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Lets it go on: what waits is due at once.
pub(super) async fn resume(
    tx: &mut Tx,
    by: &Permit<WebhooksChange>,
    webhook: WebhookId,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, now) = (by.unit()?.0, tx.now());
    sqlx::query!(
        "update webhook set stopped_at = null, stopped_because = null, failing_since = null, failures = 0, version = version + 1, log_seq = $3
         where unit_id = $1 and webhook_id = $2",
        unit,
        webhook.0,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update webhook_delivery set due_at = $3, tries = 0 where unit_id = $1 and webhook_id = $2 and state = 'waiting'",
        unit,
        webhook.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Puts another secret in the place of the present one, which signs beside it until then.
pub(super) async fn rotate(
    tx: &mut Tx,
    by: &Permit<WebhooksChange>,
    row: &WebhookRow,
    new_sealed: &[u8],
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update webhook set former_secret_sealed = $3, former_until_at = $4, secret_sealed = $5, version = version + 1, log_seq = $6
         where unit_id = $1 and webhook_id = $2",
        by.unit()?.0,
        row.webhook_id,
        row.secret_sealed,
        row.former_until_at,
        new_sealed,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
