//! The roster of a season as one whole, for files: each troop with its people, as far as the reader may see them.

use chrono::{DateTime, Utc};

use super::find_troop::{Troop, TroopKind};
use super::sql::directory as sql;
use super::sql::troops::{self, Wanted};
use crate::auth::permission::{AssignmentsRead, ContactsRead, PeopleRead, Permission};
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{SeasonId, TroopId};
use crate::error::ApiError;

/// What a reader may see of the roster at all, in any troop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sight {
    /// Where troops meet.
    pub meeting_places: bool,
    /// Who coordinates them, and who their contacts are.
    pub people: bool,
    /// How these people are reached.
    pub contacts: bool,
}

/// A troop with its people; what the reader may not see of it is not there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DirectoryTroop {
    /// Which one.
    pub troop_id: TroopId,
    /// Its number, as it is written.
    pub number: String,
    /// Its name.
    pub name: String,
    /// What kind of troop it is.
    pub kind: TroopKind,
    /// Where it meets.
    pub meeting_place: Option<String>,
    /// Its age band.
    pub age_band: String,
    /// How many youths sell.
    pub selling_youths: i32,
    /// Whether it sells for the first time.
    pub first_season: bool,
    /// Its coordinators, the lead first, and then its contacts.
    pub people: Vec<DirectoryPerson>,
}

/// Somebody in a troop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DirectoryPerson {
    /// As what: `lead_coordinator`, `co_coordinator`, or the duty of a contact.
    pub place: String,
    /// Since when, or from when.
    pub from_at: DateTime<Utc>,
    /// First name.
    pub first_name: String,
    /// Last name; empty for somebody who has one name.
    pub last_name: String,
    /// E-mail address.
    pub email: Option<String>,
    /// Phone number.
    pub phone: Option<String>,
}

/// What this reader may see at all.
#[must_use]
pub fn sight<P: Permission>(by: &Permit<P>) -> Sight {
    let people = by.actor().scope::<PeopleRead>() != Scope::Nothing;
    let places = by.actor().scope::<AssignmentsRead>() != Scope::Nothing;
    let contacts = by.actor().scope::<ContactsRead>() != Scope::Nothing;
    Sight { meeting_places: people, people: people && places, contacts: people && places && contacts }
}

/// The troops that have a place in a season, by number, as far as this permit reads and each with what may be seen of it.
///
/// # Errors
/// Database faults.
pub async fn directory<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
) -> Result<Vec<DirectoryTroop>, ApiError> {
    let (unit, actor) = (by.unit()?, by.actor());
    let wanted = Wanted { season, number_key: None, merged: false, since: None, after: None, limit: None };
    let rows = troops::list(tx, unit, by.read_scope(), wanted).await?;
    let (people, places, contacts) =
        (actor.scope::<PeopleRead>(), actor.scope::<AssignmentsRead>(), actor.scope::<ContactsRead>());
    let within: Vec<_> = rows.iter().map(|row| row.troop_id).collect();
    // Who coordinated an own troop once is not for who coordinates it now.
    let held = sql::people(tx, unit, season, &within, people != Scope::Unit).await?;
    let troops = rows.into_iter().filter_map(|row| {
        let troop = TroopId(row.troop_id);
        let sees = people.reaches(troop) && places.reaches(troop);
        let own = held.iter().filter(|one| sees && one.troop_id == troop.0);
        let own = own.map(|one| DirectoryPerson {
            place: one.place.clone(),
            from_at: one.from_at,
            first_name: one.first_name.clone(),
            last_name: one.last_name.clone(),
            email: one.email.clone().filter(|_| contacts.reaches(troop)),
            phone: one.phone.clone().filter(|_| contacts.reaches(troop)),
        });
        let own = own.collect();
        let Troop { number, name, kind, meeting_place, age_band, selling_youths, first_season, .. } =
            Troop::shown(row, season, actor);
        let (age_band, selling_youths, first_season) = (age_band?, selling_youths?, first_season?);
        let people = own;
        Some(DirectoryTroop {
            troop_id: troop,
            number,
            name,
            kind,
            meeting_place,
            age_band,
            selling_youths,
            first_season,
            people,
        })
    });
    Ok(troops.collect())
}
