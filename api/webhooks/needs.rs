//! Addresses that are told nothing any more, each as one item.

use super::sql;
use crate::auth::Tx;
use crate::auth::permission::WebhooksChange;
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};

/// Looks for webhooks that stopped by themselves.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let stopped = sql::stopped(tx, asked.unit).await?;
    let need = |row: sql::WebhookRow| {
        let what =
            row.description.as_deref().map_or_else(|| "a program outside".to_owned(), |text| format!("“{text}”"));
        let why = match row.stopped_because.as_deref() {
            Some("gone") => "It answered that nobody is there any more (410), so nothing is sent to it.",
            _ => "Nothing arrived there for five days, so nothing more is sent to it.",
        };
        Need {
            kind: NeedKind::ResumeWebhook,
            key: row.webhook_id.to_string(),
            what: format!("See to the webhook of {what}: let it go on, or end it."),
            why: format!("{why} What is done in the unit does not reach that program."),
            since_at: row.stopped_at,
            by_at: None,
            stake: Stake::Nobody,
            troops: Vec::new(),
            person: None,
            look: Some(asked.path(format_args!("webhooks/{}/deliveries", row.webhook_id))),
            settle: vec![
                Request::bare::<WebhooksChange>(asked.path(format_args!("webhooks/{}/resume", row.webhook_id))),
                Request::bare::<WebhooksChange>(asked.path(format_args!("webhooks/{}/end", row.webhook_id))),
            ],
        }
    };
    Ok(stopped.into_iter().map(need).collect())
}
