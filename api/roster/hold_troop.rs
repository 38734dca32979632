//! A troop that is about to be changed or taken away: locked, as it was read, in a season that is open.

use super::sql::troops::{self, TroopRow};
use crate::auth::permission::TroopsChange;
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::etag::IfMatch;
use crate::common::ids::TroopId;
use crate::error::{ApiError, Code};
use crate::seasons::{self, ThisSeason};

/// What is held while a troop is changed.
pub(super) struct HeldTroop {
    pub tx: Tx,
    pub season: ThisSeason,
    pub touched: Touched,
    pub row: TroopRow,
}

/// Locks a troop with everything that stands on it, and refuses one that has changed since it was read.
pub(super) async fn hold(
    permit: &Permit<TroopsChange>,
    troop: TroopId,
    if_match: &IfMatch,
) -> Result<HeldTroop, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    let touched = Touched::some(season.season_id, Vec::new(), vec![troop]);
    change::hold(&mut tx, unit, &touched).await?;
    troops::lock(&mut tx, permit, troop).await?;
    let found = troops::find(&mut tx, unit, permit.read_scope(), season.season_id, troop).await?;
    let row = found.ok_or(Code::NotFound)?;
    if_match.require(row.version)?;
    season.open()?;
    Ok(HeldTroop { tx, season, touched, row })
}
