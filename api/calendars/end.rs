//! End a calendar address.

use actix_web::post;

use super::address::{CalendarAddress, CalendarPath};
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{CalendarsMake, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};

/// End your calendar address: whoever has it gets nothing more.
///
/// What a calendar program has shown already it takes away by itself, or you do.
#[utoipa::path(tag = "calendars", params(CalendarPath), extensions(("x-permission" = json!(CalendarsMake::NAME))), responses((status = 200, description = "The address as it was; there is none any more.", body = CalendarAddress), Problems))]
#[post("/v1/units/{unit_id}/my-calendar/end")]
pub async fn end_calendar(
    permit: Permit<CalendarsMake>,
    _path: Path<CalendarPath>,
) -> Result<Answer<CalendarAddress>, ApiError> {
    let (mut tx, person) = (permit.tx()?, permit.person()?);
    tx.replay().await?;
    tx.seq().await?;
    let made_at = sql::end(&mut tx, &permit, person).await?.ok_or(Code::NotFound)?;
    tx.about("calendar_address", person);
    tx.commit_with(Answer::new(&CalendarAddress { made_at })?).await
}
