//! For posted lists: everything that is known of people and troops, and the few things that a list may add.
//!
//! A list makes new people known, fills in what nobody has entered, and proposes assignments. It never overwrites, never
//! confirms and never ends anything. The caller holds `intakes.apply`, holds the touched troops (`change::hold`) before
//! and refreshes after.

use std::collections::BTreeSet;

use super::listed_troops::ListedPlace;
use super::sql::lists::{self, KnownPersonRow, Proposal};
use crate::accounts::email_key;
use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

/// Everything that a list can be matched with.
#[derive(Clone, Debug, Default)]
pub struct KnownRoster {
    /// Everybody in the unit, with contact details.
    pub people: Vec<KnownPerson>,
    /// Every troop of the unit.
    pub troops: Vec<KnownTroop>,
    /// Who is or was tied to which troop: as coordinator in any season, proposed or confirmed, or as its contact.
    pub ties: BTreeSet<(TroopId, PersonId)>,
    /// Who has or had a place as coordinator in which troop in this season, whatever became of it.
    pub assigned: BTreeSet<(TroopId, PersonId)>,
    /// Troops that have, or are proposed, a lead coordinator in this season.
    pub led: BTreeSet<TroopId>,
}

/// Somebody who is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownPerson {
    /// Who.
    pub person_id: PersonId,
    /// First name.
    pub first_name: String,
    /// Last name; empty for somebody who has one name.
    pub last_name: String,
    /// Membership number.
    pub membership_number: Option<String>,
    /// E-mail address.
    pub email: Option<String>,
    /// Phone number.
    pub phone: Option<String>,
}

/// A troop that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownTroop {
    /// Which one.
    pub troop_id: TroopId,
    /// Its number, as it is written.
    pub number: String,
    /// What it is called; empty where it has no name.
    pub name: String,
    /// Where it meets.
    pub meeting_place: Option<String>,
    /// Its place in the season, if it has one.
    pub place: Option<ListedPlace>,
    /// Whether its place in this season has ended: it has become part of another troop.
    pub ended: bool,
}

/// Reads everything that a list can be matched with. It holds contact details: for matching only, never for an answer.
///
/// # Errors
/// Database faults.
pub async fn known(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<KnownRoster, ApiError> {
    let people = lists::people(tx, unit).await?.into_iter().map(|row| KnownPerson {
        person_id: PersonId(row.person_id),
        first_name: row.first_name,
        last_name: row.last_name,
        membership_number: row.membership_number,
        email: row.email,
        phone: row.phone,
    });
    let mut known = KnownRoster { people: people.collect(), ..KnownRoster::default() };
    for row in lists::troops(tx, unit, season).await? {
        let troop_id = TroopId(row.troop_id);
        let place = row.age_band.zip(row.selling_youths).zip(row.first_season);
        let place = place.map(|((age_band, selling_youths), first_season)| ListedPlace {
            age_band,
            selling_youths,
            first_season,
        });
        let (number, name, meeting_place) = (row.number, row.name, row.meeting_place);
        known.troops.push(KnownTroop { troop_id, number, name, meeting_place, place, ended: row.ended });
    }
    for tie in lists::ties(tx, unit, season).await? {
        let (troop, person) = (TroopId(tie.troop_id), PersonId(tie.person_id));
        known.ties.insert((troop, person));
        if tie.assigned {
            known.assigned.insert((troop, person));
        }
        if tie.lead {
            known.led.insert(troop);
        }
    }
    Ok(known)
}

/// Makes somebody known whom a list names.
///
/// # Errors
/// 409 if the membership number is somebody else's.
pub async fn make_known(tx: &mut Tx, by: &Permit<IntakesApply>, person: &KnownPerson) -> Result<(), ApiError> {
    let log_seq = tx.seq().await?;
    let key = person.email.as_deref().map(email_key);
    lists::insert_person(tx, by, &row(person), key.as_deref(), log_seq).await?;
    tx.about("person", person.person_id);
    Ok(())
}

/// Fills in what nobody has entered about somebody known; what is there stays.
///
/// # Errors
/// 409 if the membership number is somebody else's.
pub async fn fill_in(tx: &mut Tx, by: &Permit<IntakesApply>, person: &KnownPerson) -> Result<(), ApiError> {
    let log_seq = tx.seq().await?;
    if let Some(number) = &person.membership_number {
        lists::fill_membership_number(tx, by, person.person_id, number, log_seq).await?;
    }
    if person.email.is_some() || person.phone.is_some() {
        let key = person.email.as_deref().map(email_key);
        lists::fill_contact(tx, by, &row(person), key.as_deref(), log_seq).await?;
    }
    tx.about("person", person.person_id);
    Ok(())
}

/// Proposes somebody as coordinator of a troop. It gives no scope and changes no standing until a person confirms it.
///
/// # Errors
/// 409 if the person has a place in this troop's season already.
pub async fn propose(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    (troop, person): (TroopId, PersonId),
    lead: bool,
) -> Result<AssignmentId, ApiError> {
    let log_seq = tx.seq().await?;
    let assignment = AssignmentId::new();
    let proposal = Proposal { assignment, season, troop, person, lead, at: tx.logged_at() };
    lists::insert_proposal(tx, by, proposal, log_seq).await?;
    tx.about("assignment", assignment);
    Ok(assignment)
}

fn row(person: &KnownPerson) -> KnownPersonRow {
    KnownPersonRow {
        person_id: person.person_id.0,
        first_name: person.first_name.clone(),
        last_name: person.last_name.clone(),
        membership_number: person.membership_number.clone(),
        email: person.email.as_deref().map(|email| email.trim().to_owned()),
        phone: person.phone.clone(),
    }
}
