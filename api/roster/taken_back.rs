//! For lists that are taken back: what a list made of the roster, whether it has been used since, and undoing it.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::lists::KnownPerson;
use super::sql::taken_back;
use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, PersonId, UnitId};
use crate::error::ApiError;
use crate::frozen::sha256_hex;

/// What a list made of the roster: what taking it back undoes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct MadeByList {
    /// People who became known with it.
    pub people: Vec<PersonId>,
    /// Places that it proposed.
    pub proposals: Vec<AssignmentId>,
    /// Membership numbers that it brought, each as its SHA-256 digest: told again, but not kept a second time.
    pub numbers: Vec<(PersonId, String)>,
    /// Addresses.
    pub emails: Vec<(PersonId, String)>,
    /// Phone numbers.
    pub phones: Vec<(PersonId, String)>,
}

impl MadeByList {
    /// Notes what a list brought about somebody.
    pub fn note(&mut self, person: &KnownPerson) {
        let digest = |value: &String| sha256_hex(value.trim().as_bytes());
        let id = person.person_id;
        self.numbers.extend(person.membership_number.as_ref().map(|value| (id, sha256_hex(value.as_bytes()))));
        self.emails.extend(person.email.as_ref().map(|value| (id, digest(value))));
        self.phones.extend(person.phone.as_ref().map(|value| (id, sha256_hex(value.as_bytes()))));
    }
}

/// Holds what a list proposed, before anything else is locked, so that nobody confirms a place that is being taken back.
///
/// # Errors
/// Database faults.
pub async fn hold_proposals(tx: &mut Tx, unit: UnitId, made: &MadeByList) -> Result<(), ApiError> {
    let proposals: Vec<Uuid> = made.proposals.iter().map(|one| one.0).collect();
    taken_back::hold_proposals(tx, unit, &proposals).await
}

/// What has been done since with the people and places of a list, each as a sentence: while there is any of it, the list
/// cannot be taken back.
///
/// # Errors
/// Database faults.
pub async fn built_on(tx: &mut Tx, unit: UnitId, made: &MadeByList) -> Result<Vec<String>, ApiError> {
    let people: Vec<Uuid> = made.people.iter().map(|one| one.0).collect();
    let proposals: Vec<Uuid> = made.proposals.iter().map(|one| one.0).collect();
    let uses = taken_back::uses(tx, unit, (&people, &proposals)).await?;
    let said = uses.into_iter().map(|used| {
        let name = format!("{} {}", used.first_name, used.last_name);
        let what = match used.what.as_str() {
            "confirmed" => "was confirmed in the place that this list proposed",
            "named" => "became known by this list and has been named coordinator",
            "account" => "became known by this list and can sign in",
            "invited" => "became known by this list and has been invited to sign in",
            "role" => "became known by this list and has been given a role",
            _ => "became known by this list and is a contact of a troop",
        };
        format!("{} {what}", name.trim())
    });
    Ok(said.collect())
}

/// Undoes what a list made: proposals that are still open are withdrawn, and what it filled in is emptied where it still
/// says the same. People whom it made known stay known by their name, since facts of the past are about them.
///
/// # Errors
/// Database faults.
pub async fn take_back(tx: &mut Tx, by: &Permit<IntakesApply>, made: &MadeByList) -> Result<(), ApiError> {
    let log_seq = tx.seq().await?;
    let at = tx.logged_at();
    let proposals: Vec<Uuid> = made.proposals.iter().map(|one| one.0).collect();
    taken_back::withdraw_proposals(tx, by, &proposals, (at, log_seq)).await?;
    let split = |filled: &[(PersonId, String)]| -> (Vec<Uuid>, Vec<String>) {
        filled.iter().map(|(person, digest)| (person.0, digest.clone())).unzip()
    };
    let (people, digests) = split(&made.numbers);
    taken_back::empty_numbers(tx, by, (&people, &digests), log_seq).await?;
    let (people, digests) = split(&made.emails);
    taken_back::empty_emails(tx, by, (&people, &digests), log_seq).await?;
    let (people, digests) = split(&made.phones);
    taken_back::empty_phones(tx, by, (&people, &digests), log_seq).await?;
    for proposal in &made.proposals {
        tx.about("assignment", proposal);
    }
    let emptied = made.numbers.iter().chain(&made.emails).chain(&made.phones).map(|(person, _)| *person);
    for person in emptied.collect::<BTreeSet<_>>() {
        tx.about("person", person);
    }
    Ok(())
}
