//! How a change reaches what is computed from it.
//!
//! A season, a roster or an intake changes facts; standings are computed from them but come later in the order of
//! features. So the features that change facts call this module, and this module goes through the one list in lib.rs
//! ([`crate::COMPUTED`]): hold before the first write, refresh after the last.

use std::pin::Pin;

use crate::auth::Tx;
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

/// What a change touches in a season.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Touched {
    /// The season.
    pub season: SeasonId,
    /// Which of its troops.
    pub troops: TouchedTroops,
}

/// Which troops a change touches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TouchedTroops {
    /// All of them: the policy, a milestone, the time zone.
    All,
    /// These, and every troop that one of these people coordinates or is proposed for.
    Some {
        /// The people.
        people: Vec<PersonId>,
        /// The troops.
        troops: Vec<TroopId>,
    },
}

impl Touched {
    /// Every troop of a season.
    #[must_use]
    pub fn season(season: SeasonId) -> Self {
        Self { season, troops: TouchedTroops::All }
    }

    /// Some troops of a season, and those of some people.
    #[must_use]
    pub fn some(season: SeasonId, people: Vec<PersonId>, troops: Vec<TroopId>) -> Self {
        Self { season, troops: TouchedTroops::Some { people, troops } }
    }
}

/// Work on a transaction, for function pointers.
pub type Work<'a> = Pin<Box<dyn Future<Output = Result<(), ApiError>> + Send + 'a>>;

/// Something that is computed from facts and kept.
#[derive(Clone, Copy)]
pub struct Computed {
    /// Locks what two writers at once would compute from each other's half of the facts.
    pub hold: for<'a> fn(&'a mut Tx, UnitId, &'a Touched) -> Work<'a>,
    /// Computes it again from the facts as they are now.
    pub refresh: for<'a> fn(&'a mut Tx, UnitId, &'a Touched) -> Work<'a>,
    /// Keeps nothing more of a troop whose place in a season is about to be taken away.
    pub forget: for<'a> fn(&'a mut Tx, UnitId, SeasonId, TroopId) -> Work<'a>,
}

/// Holds everything computed that a change touches. Call it before the first write of the request: people and then
/// troop seasons are locked, each in the order of their ids.
///
/// # Errors
/// Database faults.
pub async fn hold(tx: &mut Tx, unit: UnitId, touched: &Touched) -> Result<(), ApiError> {
    for computed in crate::COMPUTED {
        (computed.hold)(tx, unit, touched).await?;
    }
    Ok(())
}

/// Computes everything again that a change touches. Call it after the last write of the request.
///
/// # Errors
/// Database faults.
pub async fn refresh(tx: &mut Tx, unit: UnitId, touched: &Touched) -> Result<(), ApiError> {
    for computed in crate::COMPUTED {
        (computed.refresh)(tx, unit, touched).await?;
    }
    Ok(())
}

/// Keeps nothing computed of a troop whose place in a season is about to be taken away.
///
/// # Errors
/// Database faults.
pub async fn forget(tx: &mut Tx, unit: UnitId, season: SeasonId, troop: TroopId) -> Result<(), ApiError> {
    for computed in crate::COMPUTED {
        (computed.forget)(tx, unit, season, troop).await?;
    }
    Ok(())
}
