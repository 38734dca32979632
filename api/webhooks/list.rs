//! The webhooks of a unit.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::find::Webhook;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WebhooksRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{UnitId, WebhookId};
use crate::common::page;
use crate::error::{ApiError, Problems};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct WebhooksPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which page of webhooks.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WebhooksQuery {
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
    /// Webhooks, the oldest first.
    WebhookPage of Webhook
);

/// List the programs outside that are told what is done, the oldest first.
///
/// Those that were ended are among them.
#[utoipa::path(tag = "webhooks", params(WebhooksPath, WebhooksQuery), extensions(("x-permission" = json!(WebhooksRead::NAME))), responses((status = 200, description = "The webhooks.", body = WebhookPage), Problems))]
#[get("/v1/units/{unit_id}/webhooks")]
pub async fn list_webhooks(
    permit: Permit<WebhooksRead>,
    request: HttpRequest,
    _path: Path<WebhooksPath>,
    query: Query<WebhooksQuery>,
) -> Result<Answer<WebhookPage>, ApiError> {
    let WebhooksQuery { limit, cursor } = query.0;
    let (unit, now) = (permit.unit()?, permit.now());
    let filters = ("webhooks", unit);
    let after: Option<WebhookId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let mut rows = sql::list(&mut tx, unit, after, i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<Webhook> = rows.into_iter().map(|row| Webhook::new(row, now)).collect();
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.webhook_id, &filters)).transpose()?;
    let page = WebhookPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
