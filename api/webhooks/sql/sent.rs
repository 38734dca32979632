//! What was sent, and what became of it.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::WebhooksChange;
use crate::auth::{Permit, Tx};
use crate::common::ids::{UnitId, WebhookDeliveryId, WebhookId};
use crate::error::{ApiError, Code};

#[derive(Clone, Debug)]
pub(in crate::webhooks) struct DeliveryRow {
    pub delivery_id: Uuid,
    pub seq: Option<i64>,
    pub action: Option<String>,
    pub made_at: DateTime<Utc>,
    pub state: String,
    pub due_at: DateTime<Utc>,
}

#[derive(Clone, Debug)]
pub(in crate::webhooks) struct AttemptRow {
    pub delivery_id: Uuid,
    pub tried_at: DateTime<Utc>,
    pub took_ms: i32,
    pub status: Option<i32>,
    pub outcome: String,
}

/// A trial, to be sent at once.
pub(in crate::webhooks) async fn insert_trial(
    tx: &mut Tx,
    by: &Permit<WebhooksChange>,
    webhook: WebhookId,
) -> Result<DeliveryRow, ApiError> {
    let (delivery, now) = (WebhookDeliveryId::new(), tx.now());
    sqlx::query!(
        "insert into webhook_delivery (unit_id, delivery_id, webhook_id, made_at, state, tries, due_at)
         values ($1, $2, $3, $4, 'waiting', 0, $4)",
        by.unit()?.0,
        delivery.0,
        webhook.0,
        now
    )
    .execute(tx.db())
    .await?;
    let state = "waiting".to_owned();
    Ok(DeliveryRow { delivery_id: delivery.0, seq: None, action: None, made_at: now, state, due_at: now })
}

/// The deliveries of one webhook, the newest first.
pub(in crate::webhooks) async fn deliveries(
    tx: &mut Tx,
    unit: UnitId,
    webhook: WebhookId,
    after: Option<WebhookDeliveryId>,
    limit: i64,
) -> Result<Vec<DeliveryRow>, ApiError> {
    let rows = sqlx::query_as!(
        DeliveryRow,
        r#"select d.delivery_id, d.seq, l.action as "action?", d.made_at, d.state, d.due_at
           from webhook_delivery d left join unit_log l using (unit_id, seq)
           where d.unit_id = $1 and d.webhook_id = $2 and ($3::uuid is null or d.delivery_id < $3)
           order by d.delivery_id desc limit $4"#,
        unit.0,
        webhook.0,
        after.map(|delivery| delivery.0),
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The last tries of each of these deliveries, the oldest first.
pub(in crate::webhooks) async fn attempts(
    tx: &mut Tx,
    unit: UnitId,
    deliveries: &[Uuid],
    most: i64,
) -> Result<Vec<AttemptRow>, ApiError> {
    let rows = sqlx::query_as!(
        AttemptRow,
        "select a.delivery_id, a.tried_at, a.took_ms, a.status, a.outcome from webhook_delivery d cross join lateral (
             select delivery_id, attempt_id, tried_at, took_ms, status, outcome from webhook_attempt t
             where t.unit_id = $1 and t.delivery_id = d.delivery_id order by attempt_id desc limit $3) a
         where d.unit_id = $1 and d.delivery_id = any ($2) order by a.attempt_id",
        unit.0,
        deliveries,
        most
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Has a delivery sent again, with the id that it has.
pub(in crate::webhooks) async fn send_again(
    tx: &mut Tx,
    by: &Permit<WebhooksChange>,
    webhook: WebhookId,
    delivery: WebhookDeliveryId,
) -> Result<DeliveryRow, ApiError> {
    let (unit, now) = (by.unit()?.0, tx.now());
    let row = sqlx::query_as!(
        DeliveryRow,
        r#"update webhook_delivery d set state = 'waiting', tries = 0, due_at = $4
           where d.unit_id = $1 and d.webhook_id = $2 and d.delivery_id = $3
           returning d.delivery_id, d.seq, (select l.action from unit_log l where l.unit_id = d.unit_id and l.seq = d.seq) as "action?",
               d.made_at, d.state, d.due_at"#,
        unit,
        webhook.0,
        delivery.0,
        now
    );
    row.fetch_optional(tx.db()).await?.ok_or_else(|| Code::NotFound.into())
}
