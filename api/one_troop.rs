//! Two troops of a season that become one: how it reaches every feature.
//!
//! A feature that keeps something of a troop which must end with the troop's place in the season says in its
//! [`crate::Feature`] value what ends ([`TroopMerge`]). What it says about the past stays with the troop that goes.

use std::pin::Pin;

use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::auth::permission::TroopsRegroup;
use crate::auth::{Permit, Tx};
use crate::common::ids::{TroopId, UnitId};
use crate::error::ApiError;
use crate::seasons::ThisSeason;

/// Two troops that become one.
#[derive(Clone, Debug)]
pub struct OneTroop {
    /// In which season.
    pub season: ThisSeason,
    /// The troop that goes.
    pub from: TroopId,
    /// The troop that stays.
    pub into: TroopId,
}

/// The kinds of things that end with a troop's place in a season. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EndsWithTroop {
    /// A waiver of one of the troop's own requirements.
    Waiver,
    /// An override of a gate for the troop.
    Override,
}

/// Something that ends with a troop's place in a season.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
pub struct EndedWithTroop {
    /// What it is.
    pub kind: EndsWithTroop,
    /// Which one.
    #[schema(value_type = uuid::Uuid)]
    pub id: Uuid,
}

/// Something that was let go for a troop, which goes on when its coordinator changes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
pub struct GoesOnWithTroop {
    /// What it is.
    pub kind: EndsWithTroop,
    /// Which one.
    #[schema(value_type = uuid::Uuid)]
    pub id: Uuid,
    /// For which troop.
    pub troop_id: TroopId,
    /// What goes on and until when, in a sentence.
    #[schema(max_length = 400)]
    pub what: String,
}

/// What a feature says that goes on.
pub type GoesOn<'a> = Pin<Box<dyn Future<Output = Result<Vec<GoesOnWithTroop>, ApiError>> + Send + 'a>>;

/// What of a feature goes on for a troop when its coordinator changes.
pub type TroopGoesOn = for<'a> fn(&'a mut Tx, UnitId, &'a ThisSeason, TroopId) -> GoesOn<'a>;

/// What was let go for a troop and goes on with another coordinator, of every feature.
///
/// # Errors
/// Database faults.
pub async fn goes_on(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    troop: TroopId,
) -> Result<Vec<GoesOnWithTroop>, ApiError> {
    let mut found = Vec::new();
    for look in crate::FEATURES.iter().filter_map(|feature| feature.goes_on) {
        found.extend(look(tx, unit, season, troop).await?);
    }
    found.sort_unstable();
    Ok(found)
}

/// What a feature ends, or refuses.
pub type Ended<'a> = Pin<Box<dyn Future<Output = Result<Vec<EndedWithTroop>, ApiError>> + 'a>>;

/// What a feature does when a troop goes into another one.
pub type TroopMerge = for<'a> fn(&'a mut Tx, &'a Permit<TroopsRegroup>, &'a OneTroop) -> Ended<'a>;

/// Lets every feature end what is its own, in the order of features.
///
/// # Errors
/// What a feature refuses.
pub async fn merge(tx: &mut Tx, by: &Permit<TroopsRegroup>, one: &OneTroop) -> Result<Vec<EndedWithTroop>, ApiError> {
    let mut ended = Vec::new();
    for follow in crate::FEATURES.iter().filter_map(|feature| feature.merge_troops) {
        ended.extend(follow(tx, by, one).await?);
    }
    ended.sort_unstable();
    Ok(ended)
}
