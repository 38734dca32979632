//! Another secret.

use actix_web::post;

use super::find::{Webhook, WebhookPath};
use super::make::MadeWebhook;
use super::rules::BOTH_SECRETS;
use super::{owner_of, sign, sql};
use crate::auth::permission::{Permission as _, WebhooksChange};
use crate::auth::{Permit, token};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// Make another secret for a webhook; for 24 hours what is sent is signed with both.
///
/// So the receiver can be told the new one without losing anything. If the former one is known to somebody, end the webhook and
/// make another one instead. A third secret within the 24 hours takes the place of the second, and the first signs no more.
#[utoipa::path(tag = "webhooks", params(WebhookPath), extensions(("x-permission" = json!(WebhooksChange::NAME)), ("x-stepup" = json!(true))), responses((status = 200, description = "The webhook, with its new secret, which is shown this once.", body = MadeWebhook), Problems))]
#[post("/v1/units/{unit_id}/webhooks/{webhook_id}/rotate-secret")]
pub async fn rotate_webhook_secret(
    permit: Permit<WebhooksChange>,
    around: Around,
    path: Path<WebhookPath>,
) -> Result<Answer<MadeWebhook>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut row = sql::lock(&mut tx, &permit, path.webhook_id).await?;
    tx.replay().await?;
    if row.ended_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    let secret = token::chance::<32>();
    let sealed = around.seal.close(&secret, &owner_of(unit, path.webhook_id));
    let sealed = sealed.ok_or_else(|| ApiError::broken("a secret that could not be sealed"))?;
    let log_seq = tx.seq().await?;
    row.former_until_at = Some(permit.now() + BOTH_SECRETS);
    sql::rotate(&mut tx, &permit, &row, &sealed, log_seq).await?;
    row.version += 1;
    tx.about("webhook", path.webhook_id);
    let made = MadeWebhook { webhook: Webhook::new(row, permit.now()), secret: sign::shown(&secret) };
    tx.commit_with_secret(Answer::new(&made)?).await
}
