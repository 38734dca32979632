//! Try whether something arrives.

use actix_web::post;

use super::deliveries::WebhookDelivery;
use super::find::WebhookPath;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::common::answer::Accepted;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};

/// Send something to try whether it arrives: `type` is `test_webhook`, and `seq` null.
///
/// It is sent within seconds; what became of it stands in `list_webhook_deliveries`.
#[utoipa::path(tag = "webhooks", params(WebhookPath), extensions(("x-permission" = json!(WebhooksChange::NAME))), responses((status = 202, description = "It is on its way.", body = WebhookDelivery), Problems))]
#[post("/v1/units/{unit_id}/webhooks/{webhook_id}/test")]
pub async fn test_webhook(
    permit: Permit<WebhooksChange>,
    path: Path<WebhookPath>,
) -> Result<Accepted<WebhookDelivery>, ApiError> {
    let mut tx = permit.tx()?;
    let row = sql::lock(&mut tx, &permit, path.webhook_id).await?;
    tx.replay().await?;
    going(&row)?;
    tx.seq().await?;
    let made = sql::sent::insert_trial(&mut tx, &permit, path.webhook_id).await?;
    tx.about("webhook", path.webhook_id);
    tx.commit_with(Accepted::new(&WebhookDelivery::new(made, Vec::new())?)?).await
}

/// Refuses what would never be sent.
pub(super) fn going(row: &sql::WebhookRow) -> Result<(), ApiError> {
    if row.ended_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    if row.stopped_at.is_some() {
        let detail = "Nothing is sent to this address, since nothing arrived there. Look at list_webhook_deliveries, see to the receiver, then let it go on (resume_webhook).";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    Ok(())
}
