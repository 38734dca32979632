//! Events: what is done in a unit, told as it happens to programs that listen, as a stream of the unit's log that can be taken
//! up again where it broke off.
//!
//! It tells ids only, and never who did it. Whoever reads the log hears all of it; everybody else hears of what they may read,
//! and who coordinates a troop only of the own troop. Rights are read anew for each batch, in a short transaction of its own;
//! between batches none is open. A stream ends with the token, the session, the key or the place in the unit, and its listener
//! comes back with the last number (`Last-Event-ID`): nothing is lost and nothing comes twice.

mod follow;
mod places;
mod rules;
mod stream;
mod watch;

pub use places::Places;
pub use rules::{ACTIONS, EventSubject};
pub use watch::watch;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("events", "What is done in the unit, told as it happens.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config.service(follow::follow_events);
}
