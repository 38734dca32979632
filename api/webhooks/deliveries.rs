//! What was sent to one webhook, and what became of it.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::find::WebhookPath;
use super::rules::AttemptOutcome;
use super::sql;
use super::sql::sent::{self, AttemptRow, DeliveryRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::WebhookDeliveryId;
use crate::common::page;
use crate::error::{ApiError, Problems};

/// How many tries of a delivery are shown: the last ones.
const SHOWN: i64 = 20;

/// Where a delivery stands. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WebhookDeliveryState {
    /// It is to be sent, or to be sent again.
    Waiting,
    /// It was taken.
    Delivered,
    /// It was tried often enough.
    GivenUp,
}

/// One try.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct WebhookAttempt {
    /// When.
    pub tried_at: DateTime<Utc>,
    /// How long it took, in milliseconds.
    #[schema(minimum = 0)]
    pub took_ms: i32,
    /// The status of the answer; null if none came. Nothing else of it is kept.
    #[schema(required = true, minimum = 100, maximum = 999)]
    pub status: Option<i32>,
    /// What became of it.
    pub outcome: AttemptOutcome,
}

/// One thing that is told to one webhook.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct WebhookDelivery {
    /// Which one: `webhook-id` at every try.
    pub delivery_id: WebhookDeliveryId,
    /// The number in the unit's log of what it tells; null for a trial.
    #[schema(required = true)]
    pub seq: Option<i64>,
    /// What it tells: `type` of what is sent.
    #[schema(max_length = 80, example = "appoint_coordinator")]
    pub action: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// Where it stands.
    pub state: WebhookDeliveryState,
    /// When it is sent next; null if it is not.
    #[schema(required = true)]
    pub next_try_at: Option<DateTime<Utc>>,
    /// The last tries, the oldest first.
    #[schema(max_items = 20)]
    pub attempts: Vec<WebhookAttempt>,
}

impl WebhookDelivery {
    pub(super) fn new(row: DeliveryRow, attempts: Vec<AttemptRow>) -> Result<Self, ApiError> {
        let state = match row.state.as_str() {
            "waiting" => WebhookDeliveryState::Waiting,
            "delivered" => WebhookDeliveryState::Delivered,
            _ => WebhookDeliveryState::GivenUp,
        };
        let attempt = |row: AttemptRow| {
            let outcome = AttemptOutcome::named(&row.outcome);
            let outcome = outcome.ok_or_else(|| ApiError::broken("a try of an unknown outcome"))?;
            Ok(WebhookAttempt { tried_at: row.tried_at, took_ms: row.took_ms, status: row.status, outcome })
        };
        Ok(Self {
            delivery_id: WebhookDeliveryId(row.delivery_id),
            seq: row.seq,
            action: row.action.unwrap_or_else(|| "test_webhook".to_owned()),
            made_at: row.made_at,
            state,
            next_try_at: (state == WebhookDeliveryState::Waiting).then_some(row.due_at),
            attempts: attempts.into_iter().map(attempt).collect::<Result<_, ApiError>>()?,
        })
    }
}

/// Which page of deliveries.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DeliveriesQuery {
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

crate::page!(
    /// Deliveries, the newest first.
    WebhookDeliveryPage of WebhookDelivery
);

/// List what was sent to a webhook and what became of it, the newest first.
///
/// Of thirty days. Of an answer its status and how long it took; nothing that stood in it.
#[utoipa::path(tag = "webhooks", params(WebhookPath, DeliveriesQuery), extensions(("x-permission" = json!(WebhooksRead::NAME))), responses((status = 200, description = "The deliveries.", body = WebhookDeliveryPage), Problems))]
#[get("/v1/units/{unit_id}/webhooks/{webhook_id}/deliveries")]
pub async fn list_webhook_deliveries(
    permit: Permit<WebhooksRead>,
    request: HttpRequest,
    path: Path<WebhookPath>,
    query: Query<DeliveriesQuery>,
) -> Result<Answer<WebhookDeliveryPage>, ApiError> {
    let DeliveriesQuery { limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("webhook_deliveries", unit, path.webhook_id);
    let after: Option<WebhookDeliveryId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    sql::find(&mut tx, unit, path.webhook_id).await?;
    let mut rows = sent::deliveries(&mut tx, unit, path.webhook_id, after, i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let ids: Vec<Uuid> = rows.iter().map(|row| row.delivery_id).collect();
    let attempts = sent::attempts(&mut tx, unit, &ids, SHOWN).await?;
    let of = |delivery: Uuid| attempts.iter().filter(|one| one.delivery_id == delivery).cloned().collect();
    let items = rows.into_iter().map(|row| {
        let own = of(row.delivery_id);
        WebhookDelivery::new(row, own)
    });
    let items: Vec<WebhookDelivery> = items.collect::<Result<_, _>>()?;
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.delivery_id, &filters)).transpose()?;
    let page = WebhookDeliveryPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
