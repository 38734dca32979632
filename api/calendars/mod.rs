//! Calendars: an address at which a phone's calendar program follows the season.
//!
//! Each person of a unit makes one, keeps it secret and renews it at will; it is good as long as they have a place in the unit.
//! It gives the season's dates and, to who coordinates a troop, the days on which something of theirs stops holding (never a
//! screening). No meeting places, no names: whoever runs the calendar program reads along.

mod address;
mod end;
mod ics;
mod make;
mod open;
mod sql;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("calendars", "Addresses by which a phone's calendar follows the season.", routes)
        .merging_people(sql::follow)
        .erasing(&[sql::ERASER])
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(make::make_calendar)
        .service(address::find_calendar)
        .service(end::end_calendar)
        .service(open::open_calendar);
}
