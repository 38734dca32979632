//! Every query of outside steps.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::rules::{Book, Happened, Tick};
use crate::auth::permission::OutsideStepsTick;
use crate::auth::{Permit, Tx};
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;
use crate::seasons;
use crate::seasons::policy::OutsideEvent;

fn event_of(word: &str) -> Result<OutsideEvent, ApiError> {
    match word {
        "appoint" => Ok(OutsideEvent::Appointed),
        "suspend" => Ok(OutsideEvent::Suspended),
        "restore" => Ok(OutsideEvent::Restored),
        "stand_down" => Ok(OutsideEvent::StoodDown),
        "sit_out" => Ok(OutsideEvent::SatOut),
        "rejoin" => Ok(OutsideEvent::Rejoined),
        "merge" => Ok(OutsideEvent::TroopMerged),
        "split" => Ok(OutsideEvent::TroopSplit),
        "season_return" => Ok(OutsideEvent::ReturnFiled),
        _ => Err(ApiError::broken("an unknown kind of event")),
    }
}

/// The whole of a season; where the policy names no step, nothing more is read.
pub(super) async fn book(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Book, ApiError> {
    let steps = seasons::policy_of(tx, unit, season).await?.outside_steps;
    if steps.is_empty() {
        return Ok(Book::default());
    }
    let events = happened(tx, unit, season).await?;
    Ok(Book { steps, events, ticks: ticks(tx, unit, season).await? })
}

/// What happened in a season, in order: decisions, places of appointed coordinators that ended otherwise (they left, were
/// replaced, ran out), returns that were filed, and troops that were regrouped.
async fn happened(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<Happened>, ApiError> {
    let now = tx.now();
    let rows = sqlx::query!(
        r#"select d.decision_id as "event_id!", d.kind as "kind!", d.troop_id, a.person_id as "person_id?", d.decided_at as "at!"
           from decision d
           left join assignment a on a.unit_id = d.unit_id and a.assignment_id = d.assignment_id
           where d.unit_id = $1 and d.season_id = $2
             -- Head office knows nothing of somebody who was never appointed, and keeps whoever was until it is told.
             and (d.kind <> 'stand_down' or exists (select from decision p
                 where p.unit_id = $1 and p.assignment_id = d.assignment_id and p.kind = 'appoint'))
           union all
           select a.assignment_id, 'stand_down', a.troop_id, a.person_id, least(a.ended_at, a.until_at)
           from assignment a
           where a.unit_id = $1 and a.season_id = $2 and least(a.ended_at, a.until_at) <= $3
             and exists (select from decision p where p.unit_id = $1 and p.assignment_id = a.assignment_id and p.kind = 'appoint')
             and not exists (select from decision p
                 where p.unit_id = $1 and p.assignment_id = a.assignment_id and p.kind = 'stand_down')
           union all
           select document_id, kind, null, null, made_at from frozen_document
           where unit_id = $1 and season_id = $2 and kind = 'season_return'
           union all
           select regrouping_id, kind, from_troop_id, null, regrouped_at from regrouping
           where unit_id = $1 and season_id = $2
           order by 5, 1"#,
        unit.0,
        season.0,
        now
    );
    let rows = rows.fetch_all(tx.db()).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Happened {
                event_id: row.event_id,
                event: event_of(&row.kind)?,
                troop_id: row.troop_id,
                person_id: row.person_id,
                at: row.at,
            })
        })
        .collect()
}

/// What was ticked in a season, by event and step.
async fn ticks(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<BTreeMap<(Uuid, String), Tick>, ApiError> {
    let rows = sqlx::query!(
        "select event_id, step, ticked_by, ticked_at from outside_tick where unit_id = $1 and season_id = $2",
        unit.0,
        season.0
    );
    let rows = rows.fetch_all(tx.db()).await?;
    Ok(rows.into_iter().map(|row| ((row.event_id, row.step), (row.ticked_by, row.ticked_at))).collect())
}

pub(super) async fn insert(
    tx: &mut Tx,
    by: &Permit<OutsideStepsTick>,
    season: SeasonId,
    (event, step): (Uuid, &str),
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, at, who) = (by.unit()?, tx.logged_at(), tx.actor().to_owned());
    sqlx::query!(
        "insert into outside_tick (unit_id, season_id, step, event_id, ticked_at, ticked_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7)",
        unit.0,
        season.0,
        step,
        event,
        at,
        who,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn delete(
    tx: &mut Tx,
    by: &Permit<OutsideStepsTick>,
    (event, step): (Uuid, &str),
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from outside_tick where unit_id = $1 and event_id = $2 and step = $3",
        by.unit()?.0,
        event,
        step
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
