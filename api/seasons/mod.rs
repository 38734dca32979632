//! Seasons: one season of a unit, its time zone and dated milestones, and its policy.
//!
//! What differs from unit to unit is data here, never code: the calendar says when, the policy says what is asked of
//! whom and which gate it holds shut (`policies` tries and changes it). Everything computed from them (where a troop
//! stands, whether a gate is open) lives in `standings`; this feature only keeps the two documents true.
//!
//! Invariants: a unit has at most one current season, and its first one becomes it; a policy version is never changed,
//! a new one follows it; a write into a closed season is refused in one place, [`guard_open`].

mod add_milestone;
pub mod calendar;
mod change_milestone;
mod change_season;
mod create_season;
mod date_milestones;
mod events;
mod find_season;
mod kind;
mod list_milestones;
mod list_seasons;
mod load;
pub mod policy;
mod remove_milestone;
mod rules;
mod sql;
mod versions;

pub use events::{DatedEvent, Starts, events};
pub use find_season::SeasonPath;
pub use load::{
    ThisSeason, calendar_of, current, exists, guard_current, guard_open, hold, hold_current, policy_at, policy_of,
    resolve,
};
pub use versions::{
    PolicyVersion, copy_milestones, lock_for_policy, milestone_codes, missing_milestones, policy_in_force, put_policy,
};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("seasons", "The seasons of a unit: time zone, first and last day, and dated milestones.", routes)
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(create_season::create_season)
        .service(list_seasons::list_seasons)
        .service(find_season::find_season)
        .service(change_season::change_season)
        .service(add_milestone::add_milestone)
        .service(date_milestones::date_milestones)
        .service(list_milestones::list_milestones)
        .service(change_milestone::change_milestone)
        .service(remove_milestone::remove_milestone);
}
