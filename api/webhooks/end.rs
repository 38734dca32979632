//! End one for good.

use actix_web::post;

use super::find::{Webhook, WebhookPath};
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};

/// End a webhook: the program outside is told nothing any more, also not what waited to be sent.
#[utoipa::path(tag = "webhooks", params(WebhookPath), extensions(("x-permission" = json!(WebhooksChange::NAME))), responses((status = 200, description = "The webhook, ended.", body = Webhook), Problems))]
#[post("/v1/units/{unit_id}/webhooks/{webhook_id}/end")]
pub async fn end_webhook(permit: Permit<WebhooksChange>, path: Path<WebhookPath>) -> Result<Answer<Webhook>, ApiError> {
    let mut tx = permit.tx()?;
    let mut row = sql::lock(&mut tx, &permit, path.webhook_id).await?;
    tx.replay().await?;
    if row.ended_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    let log_seq = tx.seq().await?;
    row.ended_at = Some(tx.logged_at());
    sql::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    tx.about("webhook", path.webhook_id);
    tx.commit_with(Answer::new(&Webhook::new(row, permit.now()))?).await
}
