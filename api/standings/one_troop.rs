//! What ends here when a troop goes into another one.

use super::exceptions::end_of_troop;
use super::read;
use super::rules::TroopState;
use super::sql::cache;
use crate::auth::permission::TroopsRegroup;
use crate::auth::{Permit, Tx};
use crate::error::{ApiError, Code};
use crate::one_troop::{Ended, OneTroop};

/// The troop's own waivers and overrides end, and no standing of it is kept any more. Evidence and decisions stay: they say
/// how it was. A troop that sits out takes in no other one.
pub(super) fn follow<'a>(tx: &'a mut Tx, by: &'a Permit<TroopsRegroup>, one: &'a OneTroop) -> Ended<'a> {
    Box::pin(async move {
        let (_, into) = read::one(tx, by.unit()?, &one.season, None, one.into).await?;
        if into.standing.state == TroopState::SittingOut {
            let detail = format!(
                "Troop {} sits out this season. Let it rejoin first (rejoin_troop), or choose another troop.",
                into.number
            );
            return Err(ApiError::new(Code::WrongState).detail(detail));
        }
        let ended = end_of_troop::end(tx, by, one).await?;
        cache::forget(tx, by, one.season.season_id, one.from).await?;
        Ok(ended)
    })
}
