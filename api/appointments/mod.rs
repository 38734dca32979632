//! Appointments: what is decided about a troop's coordinators, and whether the troop takes part.
//!
//! Appoint, suspend, restore and stand down concern an assignment; sit out and rejoin a troop's season. A decision is a
//! fact with its time and its maker, never changed: the opposite decision takes it back. No decision writes a state; the
//! standing is computed from decisions and evidence. Appointing or restoring with an open requirement is refused, naming
//! what is open and who can close it. Many can be decided about in one request, as they were previewed: all of them or none.

mod candidates;
mod decide;
mod list_decisions;
mod needs;
mod preview_decisions;
mod rules;
mod season;
mod sql;
mod take_decisions;
mod tell;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new(
        "appointments",
        "Decisions: appoint, suspend, restore and stand down coordinators; let troops sit out and rejoin.",
        routes,
    )
    .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(decide::appoint_coordinator)
        .service(decide::suspend_coordinator)
        .service(decide::restore_coordinator)
        .service(decide::stand_down_coordinator)
        .service(list_decisions::list_decisions)
        .service(preview_decisions::preview_decisions)
        .service(take_decisions::take_decisions)
        .service(season::sit_out_troop)
        .service(season::rejoin_troop);
}
