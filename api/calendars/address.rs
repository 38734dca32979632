//! Whether one has a calendar address.

use actix_web::get;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{CalendarsRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::UnitId;
use crate::error::{ApiError, Code, Problems};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct CalendarPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Your calendar address, without its secret, which was shown once.
#[derive(Debug, Serialize, ToSchema)]
pub struct CalendarAddress {
    /// When it was made.
    pub made_at: DateTime<Utc>,
}

/// See when you made your calendar address.
///
/// The address itself was shown once and is not kept; where it is lost, make a new one (`make_calendar`).
#[utoipa::path(tag = "calendars", params(CalendarPath), extensions(("x-permission" = json!(CalendarsRead::NAME))), responses((status = 200, description = "There is one.", body = CalendarAddress), Problems))]
#[get("/v1/units/{unit_id}/my-calendar")]
pub async fn find_calendar(
    permit: Permit<CalendarsRead>,
    _path: Path<CalendarPath>,
) -> Result<Answer<CalendarAddress>, ApiError> {
    let (mut tx, unit, person) = (permit.tx()?, permit.unit()?, permit.person()?);
    let made_at = sql::made_at(&mut tx, unit, person).await?.ok_or(Code::NotFound)?;
    Answer::new(&CalendarAddress { made_at })
}
