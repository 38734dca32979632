//! Listen to what is done in the unit.

use actix_web::{HttpMessage as _, HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::stream::EventStream;
use crate::auth::permission::{EventsRead, Permission as _};
use crate::auth::{Again, HeadersAlone, Permit, wake};
use crate::common::body::{Path, Query};
use crate::common::ids::UnitId;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct EventsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// From where on, and for how long.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct EventsQuery {
    /// Only what came after this number of the unit's log, for a program that cannot send `Last-Event-ID`. Without either, from
    /// now on; 0 begins with the first row.
    #[garde(inner(range(min = 0)))]
    #[param(minimum = 0)]
    after: Option<i64>,
    /// How many seconds to wait for more. With 0 what is there is told, and the answer ends.
    #[garde(range(max = 600))]
    #[serde(default = "ten_minutes")]
    #[param(minimum = 0, maximum = 600, default = 600, example = 0)]
    wait_seconds: u16,
}

const fn ten_minutes() -> u16 {
    600
}

/// Listen to what is done in the unit, as it happens (server-sent events).
///
/// Each event has the log's number as its `id`, the action's name (an operation, or `standing_changed`) as its `event`, and as
/// its `data` one line of JSON: `seq`, `at`, `action` and `subjects`, each with `kind` and `id`. Ids only: read what is new with
/// the operation that reads it. Whoever reads the log hears of everything, others of what they may read, and who coordinates a troop only of the
/// own troop. An `id` alone tells how far the log has come. A comment comes every 20 seconds.
///
/// The answer ends with the access token, the session, the key or the place in the unit, and after `wait_seconds`: ask again with
/// the last `id` as `Last-Event-ID`, as browsers do by themselves, and nothing is lost. Five streams at once for each account or key.
#[utoipa::path(
    tag = "events",
    params(
        EventsPath,
        EventsQuery,
        ("Last-Event-ID" = Option<String>, Header, description = "The `id` that came last: only what came after it. It counts before `after`.", pattern = "^[0-9]{1,18}$", min_length = 1, max_length = 18)
    ),
    extensions(("x-permission" = json!(EventsRead::NAME))),
    responses((status = 200, description = "The events, until it ends.", body = String, content_type = "text/event-stream"), Problems)
)]
#[get("/v1/units/{unit_id}/events")]
pub async fn follow_events(
    permit: Permit<EventsRead>,
    around: Around,
    again: Again,
    request: HttpRequest,
    _path: Path<EventsPath>,
    query: Query<EventsQuery>,
) -> Result<EventStream, ApiError> {
    let EventsQuery { after, wait_seconds } = query.0;
    let last = last_event_id(&request)?;
    // Before the head is read, so that nothing falls between the two.
    let grown = wake::when_grown(again.unit());
    let mut tx = permit.tx()?;
    let head = tx.log_seq().await?;
    drop(tx);
    let from = last.or(after).unwrap_or(head);
    if from > head {
        let name = if last.is_some() { "Last-Event-ID" } else { "after" };
        let detail = format!(
            "{head} at most, which is how far the log has come: if you were told a larger number, the server was set back to an older backup, and you begin anew without one"
        );
        return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::parameter(name, "too_large", detail)]));
    }
    let place = around.streams.take(&permit.actor().log_name())?;
    let alone = request.extensions().get::<HeadersAlone>().is_some();
    Ok(EventStream::new(again, grown, from, u64::from(wait_seconds), place).headers_alone(alone))
}

fn last_event_id(request: &HttpRequest) -> Result<Option<i64>, ApiError> {
    let Some(sent) = request.headers().get("last-event-id") else { return Ok(None) };
    let digits = |text: &&str| (1..=18).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    let number = sent.to_str().ok().filter(digits).and_then(|text| text.parse().ok());
    number.map(Some).ok_or_else(|| {
        let detail = "the id of the event that came last, a number of up to 18 figures; leave it out to begin with what comes from now on";
        ApiError::new(Code::BadHeader).errors(vec![FieldError::parameter("Last-Event-ID", "not_valid", detail)])
    })
}
