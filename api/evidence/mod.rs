//! Evidence: facts about requirements, as a person records them.
//!
//! The unit manager records what was seen elsewhere; a coordinator reports a step as done, which confirms nothing. Facts
//! are never changed: a later fact speaks louder, and one that was wrong from the start is withdrawn and stays on record.
//! Facts from posted lists come in through `intake`.

mod list;
mod record;
mod record_many;
mod report;
mod rules;
mod withdraw;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new(
        "evidence",
        "Facts about requirements, recorded by the unit manager or reported by a coordinator.",
        routes,
    )
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(record::record_evidence)
        .service(record_many::record_evidence_about_many)
        .service(report::report_step)
        .service(list::list_evidence)
        .service(withdraw::withdraw_evidence);
}
