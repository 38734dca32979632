//! Send something once more.

use actix_web::post;
use serde::Deserialize;
use utoipa::IntoParams;

use super::deliveries::WebhookDelivery;
use super::sql::{self, sent};
use super::trial::going;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::common::answer::Accepted;
use crate::common::body::Path;
use crate::common::ids::{UnitId, WebhookDeliveryId, WebhookId};
use crate::error::{ApiError, Problems};

/// Which delivery.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct WebhookDeliveryPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The webhook.
    #[param(value_type = uuid::Uuid)]
    webhook_id: WebhookId,
    /// The delivery.
    #[param(value_type = uuid::Uuid)]
    delivery_id: WebhookDeliveryId,
}

/// Send something to a webhook once more, whatever became of it, with the id that it has.
///
/// A receiver that has taken it knows the id and does nothing again.
#[utoipa::path(tag = "webhooks", params(WebhookDeliveryPath), extensions(("x-permission" = json!(WebhooksChange::NAME))), responses((status = 202, description = "It is on its way.", body = WebhookDelivery), Problems))]
#[post("/v1/units/{unit_id}/webhooks/{webhook_id}/deliveries/{delivery_id}/resend")]
pub async fn resend_webhook_delivery(
    permit: Permit<WebhooksChange>,
    path: Path<WebhookDeliveryPath>,
) -> Result<Accepted<WebhookDelivery>, ApiError> {
    let mut tx = permit.tx()?;
    let row = sql::lock(&mut tx, &permit, path.webhook_id).await?;
    let again = sent::send_again(&mut tx, &permit, path.webhook_id, path.delivery_id).await?;
    tx.replay().await?;
    going(&row)?;
    tx.seq().await?;
    tx.about("webhook", path.webhook_id);
    tx.about("webhook_delivery", path.delivery_id);
    let attempts = sent::attempts(&mut tx, permit.unit()?, &[again.delivery_id], 20).await?;
    tx.commit_with(Accepted::new(&WebhookDelivery::new(again, attempts)?)?).await
}
