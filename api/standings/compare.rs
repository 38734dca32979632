//! The same facts under two policies: what a changed one would make of the troops.

use super::load;
use super::rules::{Standing, standing};
use super::sql::cache;
use crate::auth::Tx;
use crate::common::ids::{TroopId, UnitId};
use crate::error::ApiError;
use crate::seasons::policy::Policy;
use crate::seasons::{self, ThisSeason};

/// One troop under two policies.
#[derive(Clone, Debug)]
pub struct Compared {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    pub number: String,
    /// Its name.
    pub name: String,
    /// Where it stands under the first policy.
    pub now: Standing,
    /// Where it would stand under the second.
    pub then: Standing,
}

/// Every troop of a season under two policies, at this instant, by number. Nothing is written.
///
/// # Errors
/// Database faults.
pub async fn compare(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    (now, then): (&Policy, &Policy),
) -> Result<Vec<Compared>, ApiError> {
    let (_, head_at) = cache::log_head(tx, unit).await?;
    let at = tx.now().max(head_at);
    let mut rows = cache::troops(tx, unit, season.season_id, (None, None)).await?;
    rows.sort_by(|a, b| {
        (a.number_key.chars().count(), &a.number_key).cmp(&(b.number_key.chars().count(), &b.number_key))
    });
    let calendar = seasons::calendar_of(tx, unit, season).await?;
    let wanted: Vec<_> = rows.iter().collect();
    let told = load::facts(tx, unit, season.season_id, &wanted, i64::MAX).await?;
    let compared = rows.iter().filter_map(|row| {
        let facts = told.get(&row.troop_id)?;
        Some(Compared {
            troop_id: TroopId(row.troop_id),
            number: row.number.clone(),
            name: row.name.clone(),
            now: standing(now, &calendar, facts, at),
            then: standing(then, &calendar, facts, at),
        })
    });
    Ok(compared.collect())
}
