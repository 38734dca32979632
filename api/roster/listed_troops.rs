//! For posted troop lists: making troops known, giving them their place in the season, describing them anew.
//!
//! The caller holds `intakes.apply`, holds the season's troops (`change::hold`) before and refreshes after. A list never
//! ends a troop's place and never renumbers a troop, since rows are matched by number.

use serde::{Deserialize, Serialize};

use super::rules::number_key;
use super::sql::listed_troops;
use super::sql::troops::{self, Place, TroopRow};
use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{SeasonId, TroopId};
use crate::error::ApiError;

/// A troop's place in a season, as a list gives it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListedPlace {
    /// Its age band.
    pub age_band: String,
    /// How many youths sell.
    pub selling_youths: i32,
    /// Whether it sells for the first time.
    pub first_season: bool,
}

/// A troop that a list makes known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewListedTroop {
    /// Its number as it is written.
    pub number: String,
    /// Its name; empty if the list gives none.
    pub name: String,
    /// Its place in the season.
    pub place: ListedPlace,
}

/// Something that a list says otherwise of a troop: what was known and what is known now, to be undone while it still
/// stands. One of name, meeting place, age band, selling youths and first season.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DescribedTroop {
    /// Which troop.
    pub troop_id: TroopId,
    /// What of it: `name`, `meeting_place`, `age_band`, `selling_youths` or `first_season`.
    pub field: String,
    /// What was known; none where nothing was.
    pub from: Option<String>,
    /// What the list says.
    pub to: String,
}

/// Makes a troop known, with its place in a season.
///
/// # Errors
/// 409 if the number is another troop's.
pub async fn make_troop_known(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    new: &NewListedTroop,
) -> Result<TroopId, ApiError> {
    let log_seq = tx.seq().await?;
    let troop = TroopId::new();
    let row = TroopRow {
        troop_id: troop.0,
        number: new.number.trim().to_owned(),
        name: new.name.trim().to_owned(),
        kind: "troop".to_owned(),
        meeting_place: None,
        version: 1,
        age_band: None,
        selling_youths: None,
        first_season: None,
        ended_at: None,
        merged_into: None,
        split_from: None,
    };
    troops::insert(tx, by, &row, &number_key(&row.number), log_seq).await?;
    place_troop(tx, by, season, troop, &new.place).await?;
    Ok(troop)
}

/// Gives a troop its place in a season.
///
/// # Errors
/// Database faults.
pub async fn place_troop(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    troop: TroopId,
    place: &ListedPlace,
) -> Result<(), ApiError> {
    let log_seq = tx.seq().await?;
    let ListedPlace { age_band, selling_youths, first_season } = place;
    let place = Place { age_band, selling_youths: *selling_youths, first_season: *first_season };
    troops::keep_place(tx, by, season, troop, place, log_seq).await?;
    tx.about("troop", troop);
    Ok(())
}

/// Writes what a list says otherwise of a troop.
///
/// # Errors
/// Database faults.
pub async fn describe_troop(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    said: &DescribedTroop,
) -> Result<(), ApiError> {
    let log_seq = tx.seq().await?;
    let to = (said.field.as_str(), Some(said.to.as_str()));
    listed_troops::describe(tx, by, (season, said.troop_id), to, None, log_seq).await?;
    tx.about("troop", said.troop_id);
    Ok(())
}
