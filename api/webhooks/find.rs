//! One webhook.

use actix_web::get;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::{self, WebhookRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksRead};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag;
use crate::common::ids::{UnitId, WebhookId};
use crate::common::short_text::ShortText;
use crate::error::{ApiError, Problems};

/// Which webhook.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct WebhookPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The webhook.
    #[param(value_type = uuid::Uuid)]
    pub(super) webhook_id: WebhookId,
}

/// Whether an address is told what is done. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WebhookState {
    /// It is.
    Active,
    /// It is not, since nothing arrived; it goes on when somebody says so (`resume_webhook`).
    Stopped,
    /// It never will be again.
    Ended,
}

/// Why nothing is told any more. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WebhookStop {
    /// The receiver answered that nobody is there any more (410).
    Gone,
    /// Nothing arrived for five days.
    Failing,
}

/// A program outside that is told what is done, without its secret.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Webhook {
    /// Which one.
    pub webhook_id: WebhookId,
    /// Where it is told.
    #[schema(max_length = 500)]
    pub address: String,
    /// What it is for; null if nobody wrote it down.
    #[schema(required = true, max_length = 200)]
    pub description: Option<String>,
    /// What it is told, by the names of actions; empty: everything that can be told.
    #[schema(max_items = 100, value_type = Vec<ShortText>)]
    pub actions: Vec<String>,
    /// Whether it is told.
    pub state: WebhookState,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// Since when nothing has arrived; null while things arrive.
    #[schema(required = true)]
    pub failing_since: Option<DateTime<Utc>>,
    /// When it stopped by itself; null if it did not.
    #[schema(required = true)]
    pub stopped_at: Option<DateTime<Utc>>,
    /// Why it stopped; null if it did not.
    #[schema(required = true)]
    pub stopped_because: Option<WebhookStop>,
    /// When somebody ended it; null if nobody did.
    #[schema(required = true)]
    pub ended_at: Option<DateTime<Utc>>,
    /// Until when what is sent is signed with the former secret too; null if it is not.
    #[schema(required = true)]
    pub two_signatures_until_at: Option<DateTime<Utc>>,
    /// Its version: send it as `If-Match` with a change.
    #[schema(max_length = 30)]
    pub etag: String,
}

impl Webhook {
    pub(super) fn new(row: WebhookRow, now: DateTime<Utc>) -> Self {
        let state = match (row.ended_at, row.stopped_at) {
            (Some(_), _) => WebhookState::Ended,
            (None, Some(_)) => WebhookState::Stopped,
            (None, None) => WebhookState::Active,
        };
        let because = |name: &str| if name == "gone" { WebhookStop::Gone } else { WebhookStop::Failing };
        Self {
            webhook_id: WebhookId(row.webhook_id),
            address: row.address,
            description: row.description,
            actions: row.actions,
            state,
            made_at: row.made_at,
            failing_since: row.failing_since,
            stopped_at: row.stopped_at,
            stopped_because: row.stopped_because.as_deref().map(because),
            ended_at: row.ended_at,
            two_signatures_until_at: row.former_until_at.filter(|until| now < *until),
            etag: etag::etag(row.version),
        }
    }
}

/// Find a webhook: where it is told, what, and whether things arrive.
///
/// Its secret was shown once and is not shown again; where it is lost, make another one (`rotate_webhook_secret`).
#[utoipa::path(tag = "webhooks", params(WebhookPath), extensions(("x-permission" = json!(WebhooksRead::NAME))), responses((status = 200, description = "The webhook.", body = Webhook), Problems))]
#[get("/v1/units/{unit_id}/webhooks/{webhook_id}")]
pub async fn find_webhook(permit: Permit<WebhooksRead>, path: Path<WebhookPath>) -> Result<Answer<Webhook>, ApiError> {
    let mut tx = permit.tx()?;
    let row = sql::find(&mut tx, permit.unit()?, path.webhook_id).await?;
    Answer::new(&Webhook::new(row, permit.now()))
}
