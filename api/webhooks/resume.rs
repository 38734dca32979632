//! Let one that stopped go on.

use actix_web::post;

use super::find::{Webhook, WebhookPath};
use super::sql::{self, WebhookRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};

/// Let a webhook go on that stopped since nothing arrived.
///
/// It goes on where it stopped: what was done meanwhile is sent too, as far as it is not older than thirty days.
#[utoipa::path(tag = "webhooks", params(WebhookPath), extensions(("x-permission" = json!(WebhooksChange::NAME))), responses((status = 200, description = "The webhook, which goes on.", body = Webhook), Problems))]
#[post("/v1/units/{unit_id}/webhooks/{webhook_id}/resume")]
pub async fn resume_webhook(
    permit: Permit<WebhooksChange>,
    path: Path<WebhookPath>,
) -> Result<Answer<Webhook>, ApiError> {
    let mut tx = permit.tx()?;
    let mut row = sql::lock(&mut tx, &permit, path.webhook_id).await?;
    tx.replay().await?;
    if row.ended_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    if row.stopped_at.is_none() {
        return Err(ApiError::new(Code::WrongState).detail("It has not stopped, so there is nothing to be done."));
    }
    let log_seq = tx.seq().await?;
    sql::resume(&mut tx, &permit, path.webhook_id, log_seq).await?;
    row = WebhookRow { stopped_at: None, stopped_because: None, failing_since: None, version: row.version + 1, ..row };
    tx.about("webhook", path.webhook_id);
    tx.commit_with(Answer::new(&Webhook::new(row, permit.now()))?).await
}
