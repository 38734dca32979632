//! Policies: what a season asks of whom, looked at, tried, changed as a whole, and copied from an earlier season.
//!
//! The document and its faults belong to `seasons`; what a change would do to the troops is known to `standings`. This
//! feature brings both together: a changed policy can be tried before it is saved, and one that would take the
//! appointment from more than a share of the appointed troops needs a second, knowing confirmation.
//!
//! Invariants: a trial changes nothing; a version that was in force is kept for ever; the share that brakes a change is
//! that of the policy before it, so that no change can take off its own brake.

mod change;
mod copy;
mod find;
mod preview;
mod replace;
mod rules;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("policies", "What a season asks of whom: looked at, tried, changed as a whole, copied.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(find::find_policy)
        .service(change::change_policy)
        .service(preview::preview_policy)
        .service(copy::copy_policy);
}
