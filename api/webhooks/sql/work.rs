//! What the worker reads and writes.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{UnitId, WebhookDeliveryId};
use crate::error::ApiError;
use crate::webhooks::rules::{AttemptOutcome, LONGEST_WAIT};

pub(in crate::webhooks) struct Reading {
    pub webhook_id: Uuid,
    pub actions: Vec<String>,
    pub cursor_seq: i64,
}

/// Whether the unit has an address that is to be told.
pub(in crate::webhooks) async fn any(tx: &mut Tx, unit: UnitId) -> Result<bool, ApiError> {
    let any = sqlx::query_scalar!(
        r#"select exists (select from webhook where unit_id = $1 and ended_at is null and stopped_at is null) as "any!""#,
        unit.0
    );
    Ok(any.fetch_one(tx.db()).await?)
}

/// Locks the addresses that have not read the log to its head; those that another worker has are its own.
pub(in crate::webhooks) async fn behind(tx: &mut Tx, unit: UnitId, head: i64) -> Result<Vec<Reading>, ApiError> {
    let rows = sqlx::query_as!(
        Reading,
        "select webhook_id, actions, cursor_seq from webhook
         where unit_id = $1 and ended_at is null and stopped_at is null and cursor_seq < $2
         order by webhook_id for no key update skip locked",
        unit.0,
        head
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Makes a delivery of each of these rows of the log, and notes how far was read.
pub(in crate::webhooks) async fn make_deliveries(
    tx: &mut Tx,
    unit: UnitId,
    webhook: Uuid,
    told: &[i64],
    read_to: i64,
) -> Result<(), ApiError> {
    let now = tx.now();
    let ids: Vec<Uuid> = told.iter().map(|_| WebhookDeliveryId::new().0).collect();
    sqlx::query!(
        "insert into webhook_delivery (unit_id, delivery_id, webhook_id, seq, made_at, state, tries, due_at)
         select $1, delivery_id, $2, seq, $3, 'waiting', 0, $3 from unnest($4::uuid[], $5::bigint[]) as made (delivery_id, seq)
         on conflict on constraint webhook_delivery_once do nothing",
        unit.0,
        webhook,
        now,
        &ids,
        told
    )
    .execute(tx.db())
    .await?;
    sqlx::query!("update webhook set cursor_seq = $3 where unit_id = $1 and webhook_id = $2", unit.0, webhook, read_to)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// A delivery that this worker has for a while.
#[derive(Clone, Debug)]
pub(in crate::webhooks) struct Claimed {
    pub delivery_id: Uuid,
    pub webhook_id: Uuid,
    pub seq: Option<i64>,
    pub made_at: DateTime<Utc>,
    pub tries: i32,
    pub address: String,
    pub secret_sealed: Vec<u8>,
    pub former_secret_sealed: Option<Vec<u8>>,
    pub former_until_at: Option<DateTime<Utc>>,
}

/// Takes deliveries that are due and that nobody has, until an instant of the real clock. What a clock that ran ahead has put off
/// further than anything is put off is due now.
pub(in crate::webhooks) async fn claim(
    tx: &mut Tx,
    unit: UnitId,
    until: DateTime<Utc>,
    most: i64,
) -> Result<Vec<Claimed>, ApiError> {
    let (now, real_now) = (tx.now(), tx.real_now());
    let rows = sqlx::query_as!(
        Claimed,
        "update webhook_delivery d set leased_until = $3 from webhook w
         where d.unit_id = $1 and w.unit_id = $1 and w.webhook_id = d.webhook_id and d.delivery_id in (
             select c.delivery_id from webhook_delivery c join webhook v using (unit_id, webhook_id)
             where c.unit_id = $1 and c.state = 'waiting' and v.ended_at is null and v.stopped_at is null
               and (c.due_at <= $2 or c.due_at > $6) and (c.leased_until is null or c.leased_until <= $4 or c.leased_until > $3)
             order by c.due_at, c.delivery_id limit $5 for no key update of c skip locked)
         returning d.delivery_id, d.webhook_id, d.seq, d.made_at, d.tries, w.address, w.secret_sealed, w.former_secret_sealed,
             w.former_until_at",
        unit.0,
        now,
        until,
        real_now,
        most,
        now + LONGEST_WAIT
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// What became of one try.
#[derive(Clone, Copy, Debug)]
pub(in crate::webhooks) struct Tried {
    pub status: Option<u16>,
    pub outcome: AttemptOutcome,
    pub took_ms: i32,
}

/// Notes a try, and where the delivery stands after it, unless its time with this worker was over.
pub(in crate::webhooks) async fn note(
    tx: &mut Tx,
    unit: UnitId,
    (claimed, until): (&Claimed, DateTime<Utc>),
    tried: Tried,
    (state, next_try): (&str, Option<DateTime<Utc>>),
) -> Result<(), ApiError> {
    let now = tx.now();
    sqlx::query!(
        "insert into webhook_attempt (unit_id, attempt_id, delivery_id, tried_at, took_ms, status, outcome)
         values ($1, $2, $3, $4, $5, $6, $7)",
        unit.0,
        Uuid::now_v7(),
        claimed.delivery_id,
        now,
        tried.took_ms,
        tried.status.map(i32::from),
        tried.outcome.name()
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update webhook_delivery set state = $4, tries = tries + 1, due_at = coalesce($5, due_at), leased_until = null
         where unit_id = $1 and delivery_id = $2 and leased_until = $3",
        unit.0,
        claimed.delivery_id,
        until,
        state,
        next_try
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// It answered: nothing fails any more.
pub(in crate::webhooks) async fn answers(tx: &mut Tx, unit: UnitId, webhook: Uuid) -> Result<(), ApiError> {
    sqlx::query!(
        "update webhook set failing_since = null, failures = 0 where unit_id = $1 and webhook_id = $2 and failing_since is not null",
        unit.0,
        webhook
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// It failed once more: since when, and how often.
pub(in crate::webhooks) async fn fails(
    tx: &mut Tx,
    unit: UnitId,
    webhook: Uuid,
) -> Result<(DateTime<Utc>, i32), ApiError> {
    let now = tx.now();
    let row = sqlx::query!(
        r#"update webhook set failing_since = coalesce(failing_since, $3), failures = failures + 1
           where unit_id = $1 and webhook_id = $2 returning failing_since as "failing_since!", failures"#,
        unit.0,
        webhook,
        now
    );
    let row = row.fetch_one(tx.db()).await?;
    Ok((row.failing_since, row.failures))
}

/// Locks one that is still to be told; none if it was stopped or ended meanwhile.
pub(in crate::webhooks) async fn lock_going(tx: &mut Tx, unit: UnitId, webhook: Uuid) -> Result<bool, ApiError> {
    let going = sqlx::query_scalar!(
        "select webhook_id from webhook
         where unit_id = $1 and webhook_id = $2 and ended_at is null and stopped_at is null for no key update",
        unit.0,
        webhook
    );
    Ok(going.fetch_optional(tx.db()).await?.is_some())
}

pub(in crate::webhooks) async fn stop(
    tx: &mut Tx,
    unit: UnitId,
    (webhook, because): (Uuid, &str),
    log_seq: i64,
) -> Result<(), ApiError> {
    let at = tx.logged_at();
    sqlx::query!(
        "update webhook set stopped_at = $3, stopped_because = $4, version = version + 1, log_seq = $5
         where unit_id = $1 and webhook_id = $2",
        unit.0,
        webhook,
        at,
        because,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Forgets what was sent before an instant.
pub(in crate::webhooks) async fn forget(tx: &mut Tx, unit: UnitId, before: DateTime<Utc>) -> Result<u64, ApiError> {
    sqlx::query!(
        "delete from webhook_attempt a using webhook_delivery d
         where a.unit_id = $1 and d.unit_id = $1 and d.delivery_id = a.delivery_id and d.made_at < $2 and d.leased_until is null",
        unit.0,
        before
    )
    .execute(tx.db())
    .await?;
    let gone = sqlx::query!(
        "delete from webhook_delivery d where unit_id = $1 and made_at < $2 and leased_until is null
           and not exists (select from webhook_attempt a where a.unit_id = $1 and a.delivery_id = d.delivery_id)",
        unit.0,
        before
    )
    .execute(tx.db())
    .await?;
    Ok(gone.rows_affected())
}
