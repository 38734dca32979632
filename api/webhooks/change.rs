//! Change where a program is told, and what.

use actix_web::patch;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find::{Webhook, WebhookPath};
use super::{faults, sql};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::IfMatch;
use crate::common::short_text::ShortText;
use crate::common::text::{self, not_null};
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// What to change of a webhook; a field that is left out stays.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"actions": ["standing_changed", "file_return"]}))]
pub struct WebhookChange {
    /// Where it is told.
    #[garde(inner(length(max = 500)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 8, max_length = 500)]
    address: Patch<String>,
    /// What it is for; null takes it away.
    #[garde(inner(length(chars, min = 1, max = 200), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 1, max_length = 200)]
    description: Patch<String>,
    /// What it is told, by the names of actions; none: everything that can be told.
    #[garde(inner(length(max = 100), inner(length(max = 80))))]
    #[serde(default)]
    #[schema(value_type = Vec<ShortText>, required = false, max_items = 100)]
    actions: Patch<Vec<String>>,
}

/// Change where a program outside is told, what it is told, or what it is for.
///
/// It counts from the next thing that is done on; what waits to be sent goes to the new address.
#[utoipa::path(tag = "webhooks", params(WebhookPath), request_body = WebhookChange, extensions(("x-permission" = json!(WebhooksChange::NAME))), responses((status = 200, description = "The webhook as it is now.", body = Webhook), Problems))]
#[patch("/v1/units/{unit_id}/webhooks/{webhook_id}")]
pub async fn change_webhook(
    permit: Permit<WebhooksChange>,
    around: Around,
    path: Path<WebhookPath>,
    body: Json<WebhookChange>,
    if_match: IfMatch,
) -> Result<Answer<Webhook>, ApiError> {
    let sent = body.0;
    let cleared: Vec<_> =
        [not_null("/address", &sent.address), not_null("/actions", &sent.actions)].into_iter().flatten().collect();
    if !cleared.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(cleared));
    }
    let mut tx = permit.tx()?;
    let mut row = sql::lock(&mut tx, &permit, path.webhook_id).await?;
    if_match.require(row.version)?;
    if row.ended_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    let address = sent.address.value().map(String::as_str);
    faults(&mut tx, &around, address, sent.actions.value().map(Vec::as_slice)).await?;
    for (changed, field) in [
        (sent.address != Patch::Leave, "address"),
        (sent.description != Patch::Leave, "description"),
        (sent.actions != Patch::Leave, "actions"),
    ] {
        if changed {
            tx.about("field", field);
        }
    }
    if let Some(address) = sent.address.value() {
        row.address.clone_from(address);
    }
    row.description = sent.description.apply(row.description).map(|text| text.trim().to_owned());
    if let Some(actions) = sent.actions.value() {
        row.actions.clone_from(actions);
    }
    let log_seq = tx.seq().await?;
    sql::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    tx.about("webhook", path.webhook_id);
    tx.commit_with(Answer::new(&Webhook::new(row, permit.now()))?).await
}
