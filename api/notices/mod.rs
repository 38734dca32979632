//! Notices: what is still missing, said to whoever can close it.
//!
//! A troop's coordinators are each written what is open and can be done now, their own and the troop's; a troop without one is
//! reached through its contacts. Nobody gets two such messages on one day. Every wording can be looked at beforehand with the
//! data of any troop.

mod preview;
mod told;
mod write;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("notices", "What is missing, said to whoever can close it.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config.service(preview::preview_message).service(write::write_messages);
}
