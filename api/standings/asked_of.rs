//! What is asked of somebody, for the messages that say so.

use std::collections::BTreeSet;

use serde::Serialize;

use super::rules::{RequirementStanding, Standing};
use crate::common::ids::PersonId;

/// One thing that is open, and how it is closed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AskedFor {
    /// What it is called.
    pub title: String,
    /// How it is closed, in plain words.
    pub how: String,
}

/// What is open of these coordinators and of the troop itself, each thing once; with `now`, only what can be done now. A
/// screening reads as everybody but the unit manager reads it: a mail is read by whoever has the phone in hand.
#[must_use]
pub fn asked_of(standing: &Standing, people: &BTreeSet<PersonId>, now: bool) -> Vec<AskedFor> {
    let standing = standing.clone().masked();
    let theirs = standing.coordinators.iter().filter(|one| people.contains(&one.person_id));
    let rows = theirs.flat_map(|one| &one.requirements).chain(&standing.requirements);
    let open = rows.filter(|row| !row.closed && (!now || row.can_be_done_now));
    let mut found: Vec<AskedFor> = Vec::new();
    for row in open {
        let asked = asked_for(row);
        if !found.contains(&asked) {
            found.push(asked);
        }
    }
    found
}

fn asked_for(row: &RequirementStanding) -> AskedFor {
    AskedFor { title: row.title.clone(), how: row.how.clone().unwrap_or_else(|| "ask your unit manager.".to_owned()) }
}
