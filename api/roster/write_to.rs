//! Whom a message goes to, for the features that write one.

use std::collections::BTreeSet;

use serde::Serialize;
use serde_json::{Map, Value, json};

use super::sql::{contacts, people};
use crate::auth::Tx;
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::mail::Recipient;
use crate::units;

/// Somebody who is written to.
#[derive(Clone, Debug)]
pub struct Addressee {
    /// Whom, where, in which language.
    pub to: Recipient,
    /// The first name.
    pub first_name: String,
}

/// Whom a message to this person goes to; none for somebody who is not there.
///
/// # Errors
/// Database faults.
pub async fn addressee(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<Option<Addressee>, ApiError> {
    let Some((first_name, _)) = people::name(tx, unit, person).await? else { return Ok(None) };
    let contact = people::contact(tx, unit, person).await?;
    let to = Recipient { person, address: contact.email, language: contact.language };
    Ok(Some(Addressee { to, first_name }))
}

/// The contacts of a troop at this moment: leader, treasurer and the like, each person once.
///
/// # Errors
/// Database faults.
pub async fn contacts_of(tx: &mut Tx, unit: UnitId, troop: TroopId) -> Result<Vec<PersonId>, ApiError> {
    let now = tx.now();
    let rows = contacts::list(tx, unit, troop, None, (None, 200)).await?;
    let live = rows.into_iter().filter(|row| row.from_at <= now && row.ended_at.is_none_or(|end| end > now));
    let people: BTreeSet<PersonId> = live.map(|row| PersonId(row.person_id)).collect();
    Ok(people.into_iter().collect())
}

/// First and last name, for whoever writes.
///
/// # Errors
/// Database faults.
pub async fn name_of(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<String, ApiError> {
    let name = people::name(tx, unit, person).await?;
    Ok(name.map(|(first, last)| format!("{first} {last}").trim().to_owned()).unwrap_or_default())
}

/// The fields of a message about a troop: who writes to whom, about which troop, and what is open.
///
/// # Errors
/// Database faults.
pub async fn about_troop(
    tx: &mut Tx,
    unit: UnitId,
    (from, season): (PersonId, &str),
    (first_name, troop): (&str, &str),
    open: &[impl Serialize],
) -> Result<Map<String, Value>, ApiError> {
    Ok(fields(json!({
        "first_name": first_name,
        "unit_name": units::name(tx, unit).await?,
        "from_name": name_of(tx, unit, from).await?,
        "season": season,
        "troop": troop,
        "how_many": open.len(),
        "missing": open,
    })))
}

/// An object as the fields of a message.
#[must_use]
pub(super) fn fields(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(fields) => fields,
        _ => Map::new(),
    }
}
