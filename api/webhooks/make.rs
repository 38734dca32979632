//! Have a program outside told what is done.

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::find::Webhook;
use super::list::WebhooksPath;
use super::rules::MOST_WEBHOOKS;
use super::sql::{self, WebhookRow};
use super::{faults, owner_of, sign};
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::auth::{Permit, token};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::WebhookId;
use crate::common::short_text::ShortText;
use crate::common::text;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// A webhook to be made.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"address": "https://hooks.example.org/from-caselot", "description": "The wall in the depot", "actions": ["standing_changed", "appoint_coordinator", "file_return"]}))]
pub struct NewWebhook {
    /// Where it is told: an address that begins with `https://` and that can be reached from anywhere.
    #[garde(length(max = 500))]
    #[schema(min_length = 8, max_length = 500)]
    address: String,
    /// What it is for.
    #[garde(inner(length(chars, min = 1, max = 200), custom(text::line)))]
    #[schema(min_length = 1, max_length = 200)]
    description: Option<String>,
    /// What it is told, by the names of actions, which are those of `follow_events`; none: everything that can be told.
    #[garde(length(max = 100), inner(length(max = 80)))]
    #[serde(default)]
    #[schema(max_items = 100, value_type = Vec<ShortText>, required = false)]
    actions: Vec<String>,
}

/// A new webhook with its secret, which is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct MadeWebhook {
    /// The webhook.
    pub webhook: Webhook,
    /// The secret by which the receiver checks that it is this server that tells it (`webhook-signature`). Keep it where the
    /// receiver reads it; if it is lost, make another one.
    #[schema(max_length = 80, example = "whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD")]
    pub secret: String,
}

/// Have a program outside told what is done, from now on.
///
/// Each thing that is done is sent as a POST by the Standard Webhooks specification: `webhook-id` (the same at every try: who has seen it does nothing
/// again), `webhook-timestamp`, `webhook-signature`, and a body with `type` (the action), `timestamp` and `data` with `unit_id`,
/// `seq` (its number in the unit's log) and `subjects`. Ids only; what an event is about is read with a key. The order is not promised. An answer of 200 to
/// 299 within ten seconds takes it; otherwise it is sent again after 5 seconds, 5 and 30 minutes, 2, 5, 10 and 10 hours. After an
/// answer of 410, or when nothing arrives for five days, nothing more is sent until somebody says so. At most 20 for a unit.
#[utoipa::path(tag = "webhooks", params(WebhooksPath), request_body = NewWebhook, extensions(("x-permission" = json!(WebhooksChange::NAME)), ("x-stepup" = json!(true))), responses((status = 201, description = "The webhook, with its secret.", body = MadeWebhook), Problems))]
#[post("/v1/units/{unit_id}/webhooks")]
pub async fn make_webhook(
    permit: Permit<WebhooksChange>,
    around: Around,
    _path: Path<WebhooksPath>,
    body: Json<NewWebhook>,
) -> Result<Created<MadeWebhook>, ApiError> {
    let new = body.0;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    tx.replay().await?;
    faults(&mut tx, &around, Some(&new.address), Some(&new.actions)).await?;
    if sql::count(&mut tx, &permit).await? >= MOST_WEBHOOKS {
        let detail = format!(
            "A unit has {MOST_WEBHOOKS} of them at most. End one that is not used any more (end_webhook), then make this one."
        );
        return Err(ApiError::new(Code::Conflict).detail(detail));
    }
    let webhook = WebhookId::new();
    let secret = token::chance::<32>();
    let sealed = around.seal.close(&secret, &owner_of(unit, webhook));
    let sealed = sealed.ok_or_else(|| ApiError::broken("a secret that could not be sealed"))?;
    let log_seq = tx.seq().await?;
    let row = WebhookRow {
        webhook_id: webhook.0,
        address: new.address,
        description: new.description.map(|text| text.trim().to_owned()),
        actions: new.actions,
        secret_sealed: sealed,
        former_until_at: None,
        made_at: tx.logged_at(),
        failing_since: None,
        stopped_at: None,
        stopped_because: None,
        ended_at: None,
        version: 1,
    };
    sql::insert(&mut tx, &permit, &row, log_seq).await?;
    tx.about("webhook", webhook);
    let made = MadeWebhook { webhook: Webhook::new(row, permit.now()), secret: sign::shown(&secret) };
    let location = format!("/v1/units/{unit}/webhooks/{webhook}");
    tx.commit_with_secret(Created::new(&made)?.location(location)).await
}
