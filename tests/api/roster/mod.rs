//! The roster: troops, people, roles and coordinators.

use uuid::Uuid;

use crate::support::client::Answered;
use crate::support::fixture::Somebody;

mod coordinators;
mod erasure;
mod leads;
mod one_person;
mod people;
mod regrouping;
mod renumbering;
mod roles;
mod search;
mod successors;
mod troops;

fn person(who: &Somebody) -> Uuid {
    who.place.expect("a place in a unit").person
}

/// The grant of somebody's role in the fixture.
fn grant(who: &Somebody) -> Uuid {
    Uuid::from_u128(who.account.as_u128() + 0x400)
}

/// The values of one key over a list.
fn each(answered: &Answered, key: &str) -> Vec<String> {
    let items = answered.at("/items");
    let items = items.as_array().expect("items").iter();
    items.map(|item| item[key].as_str().unwrap_or_default().to_owned()).collect()
}

fn places(answered: &Answered) -> Vec<String> {
    let errors = answered.at("/errors");
    let errors = errors.as_array().expect("errors").iter();
    errors.map(|error| error["pointer"].as_str().unwrap_or_default().to_owned()).collect()
}
