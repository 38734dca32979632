//! The roster: troops with their seasons, people with their contact details, roles, and who coordinates which troop.
//!
//! A troop lasts; its place in a season holds what differs from year to year. A person belongs to the unit; an account,
//! if there is one, belongs to the server. A unit role is a dated grant; a troop coordinator's scope is the confirmed
//! assignment itself, there is no second row for it. A list only proposes assignments: a person confirms or declines
//! them. Contacts of a troop (leader, treasurer) are neither coordinators nor does it give them a scope.
//!
//! Invariants: an assignment ends by standing down or by its own end, never by vanishing from a list; a troop has one
//! confirmed lead at a time; a troop that went into another one has no place in that season any more, while every answer
//! as of an earlier instant still has it; the unit keeps a unit manager who can sign in; a proposal gives nobody anything.

mod add_person;
mod add_troop;
mod add_troop_contact;
mod change_contact;
mod change_person;
mod change_troop;
mod confirm_assignment;
mod decline_assignment;
mod directory;
mod end_grant;
mod end_troop_contact;
mod erase_person;
mod find_contact;
mod find_person;
mod find_troop;
mod give_role;
mod hold_troop;
mod invite_person;
mod list_assignments;
mod list_grants;
mod list_people;
mod list_regroupings;
mod list_take_overs;
mod list_troop_contacts;
mod list_troops;
mod listed_troops;
mod lists;
mod make_lead;
mod merge_person;
mod merge_troops;
mod merging;
mod name_coordinator;
mod needs;
mod record_leaving;
mod regrouping;
mod remove_troop;
mod renumber_troops;
mod replace_coordinator;
mod rules;
mod split_troop;
mod sql;
mod taken_back;
mod ties;
mod write_to;

pub use directory::{DirectoryPerson, DirectoryTroop, Sight, directory, sight};
pub use find_troop::TroopKind;
pub use listed_troops::{DescribedTroop, ListedPlace, NewListedTroop, describe_troop, make_troop_known, place_troop};
pub use lists::{KnownPerson, KnownRoster, KnownTroop, fill_in, known, make_known, propose};
pub use rules::number_key;
pub use taken_back::{MadeByList, Undoing, UsedSince, built_on, hold_proposals, take_back};
pub use ties::{OwnTies, own_ties};
pub use write_to::{Addressee, about_troop, addressee, contacts_of, name_of};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new(
        "roster",
        "Troops, people with their contact details and roles, and who coordinates which troop.",
        routes,
    )
    .merging_people(merge_person::follow)
    .erasing(&[erase_person::ERASER])
    .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(add_troop::add_troop)
        .service(list_troops::list_troops)
        // Before the troop itself: the first pattern that fits is taken, and this is no troop's id.
        .service(renumber_troops::renumber_troops)
        .service(find_troop::find_troop)
        .service(change_troop::change_troop)
        .service(remove_troop::remove_troop)
        .service(merge_troops::preview_troop_merge)
        .service(merge_troops::merge_troops)
        .service(split_troop::split_troop)
        .service(list_regroupings::list_regroupings)
        .service(add_troop_contact::add_troop_contact)
        .service(list_troop_contacts::list_troop_contacts)
        .service(end_troop_contact::end_troop_contact)
        .service(add_person::add_person)
        .service(list_people::list_people)
        .service(find_person::find_person)
        .service(change_person::change_person)
        .service(find_contact::find_contact)
        .service(change_contact::change_contact)
        .service(invite_person::invite_person)
        .service(give_role::give_role)
        .service(list_grants::list_grants)
        .service(end_grant::end_grant)
        .service(name_coordinator::name_coordinator)
        .service(list_assignments::list_assignments)
        .service(confirm_assignment::confirm_assignment)
        .service(decline_assignment::decline_assignment)
        .service(make_lead::make_lead)
        .service(replace_coordinator::replace_coordinator)
        .service(list_take_overs::list_take_overs)
        .service(record_leaving::record_leaving)
        .service(merge_person::merge_person)
        .service(erase_person::erase_person);
}
