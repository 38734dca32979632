//! Make a calendar address, or a new one.

use actix_web::post;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::address::CalendarPath;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{CalendarsMake, Permission as _};
use crate::common::answer::Created;
use crate::common::body::Path;
use crate::error::{ApiError, Problems};
use crate::server::run::Around;

/// A new calendar address.
#[derive(Debug, Serialize, ToSchema)]
pub struct MadeCalendar {
    /// Give it to the calendar program as a calendar to subscribe to. It is shown this once; whoever has it reads your dates, so
    /// keep it to yourself.
    #[schema(max_length = 400)]
    pub address: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
}

/// Make your calendar address; an older one stops at once.
///
/// A calendar program that subscribes to it shows the season's dates and, if you coordinate a troop, when something of yours
/// stops holding. Programs look every few hours. It stops when you have no place in the unit any more.
#[utoipa::path(tag = "calendars", params(CalendarPath), extensions(("x-permission" = json!(CalendarsMake::NAME))), responses((status = 201, description = "The address.", body = MadeCalendar), Problems))]
#[post("/v1/units/{unit_id}/my-calendar")]
pub async fn make_calendar(
    permit: Permit<CalendarsMake>,
    around: Around,
    _path: Path<CalendarPath>,
) -> Result<Created<MadeCalendar>, ApiError> {
    let (mut tx, unit, person) = (permit.tx()?, permit.unit()?, permit.person()?);
    tx.replay().await?;
    let (secret, digest) = super::open::new_secret(unit);
    let log_seq = tx.seq().await?;
    let made_at = tx.logged_at();
    sql::put(&mut tx, &permit, person, &digest, log_seq).await?;
    tx.about("calendar_address", person);
    let made = MadeCalendar { address: around.calendar_link(&secret), made_at };
    let location = format!("/v1/units/{unit}/my-calendar");
    tx.commit_with_secret(Created::new(&made)?.location(location)).await
}
