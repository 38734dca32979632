//! Units: the tenants of this server, and each unit's log.
//!
//! The server's administrator makes a unit together with its first unit manager and sees none of its data after that.
//! The unit's log says who did what and when, with ids and field names only; the unit manager and the overseer read it.

mod create;
mod find;
mod list;
mod log;
mod sql;

pub use sql::{LogRow, all, log as log_rows, log_at as log_rows_at, name};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("units", "The units of this server, your place in them, and a unit's log.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config.service(create::create_unit).service(list::list_units).service(find::find_unit).service(log::list_log);
}
