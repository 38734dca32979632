//! Standings: where each troop of a season stands, and why.
//!
//! Evidence says what is met, decisions say what was decided, the policy says what is asked, the calendar says when.
//! From these one pure function computes where a troop stands at an instant; no operation ever writes a state. Answers
//! are cached: one writer refreshes them whenever facts change, readers compute again what time has changed, and the
//! ticker does so once a minute and logs it. Deleting the cache and refreshing changes nothing.
//!
//! This feature owns the tables of facts (evidence, screening evidence, waivers, decisions): others add facts through
//! [`record_evidence`] and [`record_decision`], and take back a whole list by [`withdraw_list`] or one fact by
//! [`withdraw_fact`], between `change::hold` and `change::refresh`.

mod asked_of;
mod chase;
mod compare;
mod exceptions;
mod find;
mod gates;
mod lapses_ahead;
mod list;
mod load;
mod my_steps;
mod needs;
mod one_fact;
mod one_person;
mod one_troop;
mod read;
mod record;
mod recorded;
mod refresh;
pub mod rules;
mod sql;
mod subjects;

pub use asked_of::{AskedFor, asked_of};
pub use compare::{Compared, compare};
pub use find::{TroopStanding, show};
pub use gates::require;
pub use load::decision_kind;
pub use one_fact::{FactsWanted, RecordedFact, fact_on_record, facts_on_record, withdraw_fact};
pub use read::{StandingsThen, TroopThen, all, names, one, seen_by};
pub use record::{NewDecision, NewEvidence, Subject, forget_places, record_decision, record_evidence, withdraw_list};
pub use recorded::recorded;
pub use refresh::{computed, refresh_due};
pub use subjects::{has_troop, known_subjects, troop_numbers, troops_of_person};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new(
        "standings",
        "Where each troop stands and why: requirements, next step, gates, and what will lapse.",
        routes,
    )
    .merging_people(one_person::follow)
    .merging_troops(one_troop::follow)
    .going_on(exceptions::goes_on::look)
    .erasing(&[one_person::ERASER])
    .every_minute(|system, unit| Box::pin(refresh_due(system, unit)))
    .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(list::list_standings)
        .service(find::find_standing)
        .service(lapses_ahead::list_lapses_ahead)
        .service(my_steps::list_my_steps)
        .service(exceptions::waive_requirement::waive_requirement)
        .service(exceptions::list_waivers::list_waivers)
        .service(exceptions::find_waiver::find_waiver)
        .service(exceptions::approve_waiver::approve_waiver)
        .service(exceptions::decline_waiver::decline_waiver)
        .service(exceptions::end_waiver::end_waiver)
        .service(exceptions::override_gate::override_gate)
        .service(exceptions::list_overrides::list_overrides)
        .service(exceptions::find_override::find_override)
        .service(exceptions::approve_override::approve_override)
        .service(exceptions::decline_override::decline_override)
        .service(exceptions::end_override::end_override);
}
