//! The one writer of the cache, and what the ticker does with it.

use std::collections::BTreeSet;

use uuid::Uuid;

use super::load;
use super::rules::{RULES_VERSION, Standing, standing};
use super::sql::cache::{self, NewAnswer, TroopRow};
use crate::auth::{System, Tx};
use crate::change::{Computed, Touched, TouchedTroops, Work};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::seasons;

/// Standings, as something computed that others' changes touch.
#[must_use]
pub const fn computed() -> Computed {
    Computed { hold: hold_work, refresh: refresh_work, forget: forget_work }
}

fn hold_work<'a>(tx: &'a mut Tx, unit: UnitId, touched: &'a Touched) -> Work<'a> {
    Box::pin(hold(tx, unit, touched))
}

fn refresh_work<'a>(tx: &'a mut Tx, unit: UnitId, touched: &'a Touched) -> Work<'a> {
    Box::pin(async move { refresh(tx, unit, touched).await.map(drop) })
}

fn forget_work(tx: &mut Tx, unit: UnitId, season: SeasonId, troop: TroopId) -> Work<'_> {
    Box::pin(cache::forget_troop(tx, unit, season, troop))
}

/// Locks the people and then the troop seasons of a change, each in id order. Two writers who touch one troop, or one
/// person of two troops, wait for each other here; else each would compute from half of the facts.
async fn hold(tx: &mut Tx, unit: UnitId, touched: &Touched) -> Result<(), ApiError> {
    if let TouchedTroops::Some { people, .. } = &touched.troops {
        cache::lock_people(tx, unit, people).await?;
    }
    let troops = troops_of(tx, unit, touched).await?;
    cache::lock_troops(tx, unit, touched.season, troops.as_deref()).await?;
    Ok(())
}

/// Which troops a change touches; none for all of the season.
async fn troops_of(tx: &mut Tx, unit: UnitId, touched: &Touched) -> Result<Option<Vec<Uuid>>, ApiError> {
    let TouchedTroops::Some { people, troops } = &touched.troops else { return Ok(None) };
    let theirs = cache::troops_of(tx, unit, touched.season, people).await?;
    let all: BTreeSet<Uuid> = theirs.into_iter().chain(troops.iter().map(|troop| troop.0)).collect();
    Ok(Some(all.into_iter().collect()))
}

/// The cached answer of a row, if it can be read by the present rules.
pub(super) fn cached(row: &TroopRow) -> Option<Standing> {
    if row.rules_version != Some(RULES_VERSION) {
        return None;
    }
    serde_json::from_value(row.answer.clone()?).ok()
}

/// Computes the standings of the touched troops from the facts as they are, keeps them, and says which changed.
async fn refresh(tx: &mut Tx, unit: UnitId, touched: &Touched) -> Result<Vec<TroopId>, ApiError> {
    // The log's head is the last lock; the instant is the log's, never before the facts that were just recorded.
    let seq = tx.seq().await?;
    let only = troops_of(tx, unit, touched).await?;
    let rows = cache::troops(tx, unit, touched.season, (only.as_deref(), None)).await?;
    let answers = answers(tx, unit, touched.season, &rows).await?;
    let changed: Vec<_> = answers.iter().filter(|one| one.changed).map(|one| one.troop).collect();
    keep(tx, unit, touched.season, answers, seq).await?;
    Ok(changed)
}

/// A newly computed answer beside what was cached.
struct NewlyComputed {
    troop: TroopId,
    standing: Standing,
    /// Another answer than the cached one; a first answer is no change.
    changed: bool,
    /// The log number of the cached answer.
    kept_seq: Option<i64>,
    /// Whether the cache holds exactly this already.
    same: bool,
}

async fn answers(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    rows: &[TroopRow],
) -> Result<Vec<NewlyComputed>, ApiError> {
    let at = tx.logged_at();
    let this = seasons::resolve(tx, unit, Some(season)).await?;
    let policy = seasons::policy_of(tx, unit, season).await?;
    let calendar = seasons::calendar_of(tx, unit, &this).await?;
    let wanted: Vec<&TroopRow> = rows.iter().collect();
    let facts = load::facts(tx, unit, season, &wanted, i64::MAX).await?;
    let computed = rows.iter().filter_map(|row| {
        let standing = standing(&policy, &calendar, facts.get(&row.troop_id)?, at);
        let before = cached(row);
        let same = before.as_ref() == Some(&standing);
        let changed = before.is_some() && !same;
        Some(NewlyComputed { troop: TroopId(row.troop_id), standing, changed, kept_seq: row.log_seq, same })
    });
    Ok(computed.collect())
}

async fn keep(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    answers: Vec<NewlyComputed>,
    seq: i64,
) -> Result<(), ApiError> {
    let mut kept = Vec::new();
    for one in answers.into_iter().filter(|one| !one.same) {
        let answer = serde_json::to_value(&one.standing).map_err(|error| ApiError::internal(&error))?;
        let log_seq = if one.changed { seq } else { one.kept_seq.unwrap_or(seq) };
        kept.push(NewAnswer { troop_id: one.troop, answer, log_seq, changes_at: one.standing.changes_at });
    }
    if kept.is_empty() { Ok(()) } else { cache::keep(tx, unit, season, RULES_VERSION, kept).await }
}

/// What time has changed: computes the due standings again and logs those that are another one now, so that a lapse by
/// date reaches people and programs. Once a minute, in every unit.
///
/// # Errors
/// Database faults.
pub async fn refresh_due(system: System, unit: UnitId) -> Result<(), ApiError> {
    let mut tx = system.open(Some(unit), "standing_changed").await?;
    let now = tx.now();
    let due = cache::due(&mut tx, unit, now, RULES_VERSION).await?;
    if due.is_empty() {
        return Ok(());
    }
    let seasons: BTreeSet<Uuid> = due.iter().map(|row| row.season_id).collect();
    let touched: Vec<Touched> = seasons
        .into_iter()
        .map(|season| {
            let troops = due.iter().filter(|row| row.season_id == season).map(|row| TroopId(row.troop_id));
            Touched::some(SeasonId(season), Vec::new(), troops.collect())
        })
        .collect();
    for one in &touched {
        hold(&mut tx, unit, one).await?;
    }
    let mut changed = Vec::new();
    for one in &touched {
        changed.extend(refresh(&mut tx, unit, one).await?);
    }
    if changed.is_empty() {
        return tx.commit_unlogged().await;
    }
    for troop in changed {
        tx.about("troop", troop);
    }
    tx.commit().await
}
