//! The work queue: what needs a person now, from every feature, what matters most first.
//!
//! Each feature says what of it needs a person ([`crate::need`]); this one asks them all, adds numbers and names as the
//! reader may see them, and sorts by what is at stake. Invariants: nothing of it is stored, so nothing in it can be out of
//! date; an item keeps its name (`need_id`) as long as its cause is there; the request that settles it is one that the API
//! has, with the body as far as it is known.

mod list;
mod rules;
mod shown;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new(
        "needs",
        "What needs a person now: what, why, by when, what is at stake, and how it is settled.",
        routes,
    )
}

fn routes(config: &mut ServiceConfig<'_>) {
    config.service(list::list_needs);
}
