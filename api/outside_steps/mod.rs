//! Outside steps: what must be repeated by hand in head office's system, and whether it was.
//!
//! The policy names the steps and the events that ask for them; decisions, filed returns and regrouped troops are the events. So what is to be
//! done is worked out at each look, and only that somebody did it is stored, with who and when.

mod list;
mod needs;
mod rules;
mod sql;
mod tick;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("outside_steps", "What must be repeated by hand in head office's system, and whether it was.", routes)
        .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

fn routes(config: &mut ServiceConfig<'_>) {
    config.service(list::list_outside_steps).service(tick::tick_outside_steps);
}
