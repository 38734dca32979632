//! For lists that are taken back: what a list made of the roster, whether it has been used since, and undoing it.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::listed_troops::DescribedTroop;
use super::lists::KnownPerson;
use super::sql::{listed_troops, taken_back};
use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId, UnitId};
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
    /// Troops that became known with it.
    #[serde(default)]
    pub troops: Vec<TroopId>,
    /// Troops that it gave their place in the season, those that became known with it included.
    #[serde(default)]
    pub places: Vec<TroopId>,
    /// What it said otherwise of troops, in its order.
    #[serde(default)]
    pub described: Vec<DescribedTroop>,
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

/// What has been done since with the people and places of a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UsedSince {
    /// A sentence without its full stop.
    pub what: String,
    /// What undoes it.
    pub undoing: Undoing,
}

/// What undoes something that stands on a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Undoing {
    /// This POST below the unit.
    Request(String),
    /// Nobody: it ends by itself.
    ByItself(DateTime<Utc>),
    /// Nothing undoes it; this POST below the unit ends it.
    Instead(String),
    /// Nothing.
    Never,
}

/// What has been done since with the people and places of a list: while there is any of it, the list cannot be taken back.
///
/// # Errors
/// Database faults.
pub async fn built_on(tx: &mut Tx, unit: UnitId, made: &MadeByList) -> Result<Vec<UsedSince>, ApiError> {
    let people: Vec<Uuid> = made.people.iter().map(|one| one.0).collect();
    let proposals: Vec<Uuid> = made.proposals.iter().map(|one| one.0).collect();
    let (now, real_now) = (tx.now(), tx.real_now());
    let uses = taken_back::uses(tx, unit, (&people, &proposals), (now, real_now)).await?;
    let said = uses.into_iter().map(|used| {
        let name = format!("{} {}", used.first_name, used.last_name);
        let id = used.id.map(|id| id.to_string()).unwrap_or_default();
        let stand_down = format!("assignments/{id}/stand-down");
        let (what, undoing) = match used.what.as_str() {
            "confirmed" => ("was confirmed in the place that this list proposed", Undoing::Instead(stand_down)),
            "named" => ("became known by this list and has been named coordinator", Undoing::Instead(stand_down)),
            "account" => ("became known by this list and can sign in", Undoing::Never),
            "invited" => (
                "became known by this list and has been invited to sign in",
                used.ends_at.map_or(Undoing::Never, Undoing::ByItself),
            ),
            "role" => ("became known by this list and has a role", Undoing::Request(format!("grants/{id}/end"))),
            _ => {
                let duty = used.duty.unwrap_or_default();
                let path = format!("troops/{id}/contacts/{}/{duty}/end", used.person_id);
                ("became known by this list and is a contact of a troop", Undoing::Request(path))
            }
        };
        UsedSince { what: format!("{} {what}", name.trim()), undoing }
    });
    Ok(said.collect())
}

/// Undoes what a list made: proposals that are still open are withdrawn, and what it filled in is emptied where it still
/// says the same. People whom it made known stay known by their name, since facts of the past are about them. Troops that
/// it described are described as before, where nobody has described them otherwise since; troops and places that it made
/// go, since the caller has seen that nothing hangs on them.
///
/// # Errors
/// Database faults.
pub async fn take_back(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    made: &MadeByList,
) -> Result<(), ApiError> {
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
    for said in made.described.iter().rev().filter(|said| !made.troops.contains(&said.troop_id)) {
        let back = (said.field.as_str(), said.from.as_deref());
        listed_troops::describe(tx, by, (season, said.troop_id), back, Some(&said.to), log_seq).await?;
    }
    let ids = |troops: &[TroopId]| -> Vec<Uuid> { troops.iter().map(|troop| troop.0).collect() };
    listed_troops::remove_places(tx, by, season, &ids(&made.places)).await?;
    listed_troops::remove(tx, by, &ids(&made.troops)).await?;
    let described = made.described.iter().map(|said| said.troop_id);
    for troop in described.chain(made.places.iter().copied()).collect::<BTreeSet<_>>() {
        tx.about("troop", troop);
    }
    for proposal in &made.proposals {
        tx.about("assignment", proposal);
    }
    let emptied = made.numbers.iter().chain(&made.emails).chain(&made.phones).map(|(person, _)| *person);
    for person in emptied.collect::<BTreeSet<_>>() {
        tx.about("person", person);
    }
    Ok(())
}
