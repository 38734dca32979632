//! Every query about taking an applied list back.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::LockedIntake;
use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::roster::MadeByList;

/// A later list that stands on this one.
pub(in crate::intake) struct LaterList {
    pub intake_id: Uuid,
    pub kind: String,
    pub file_name: String,
    pub listed_on: NaiveDate,
    /// Whether it was applied before lists noted what they made: then it cannot be taken back.
    pub too_old: bool,
}

/// Lists applied after this one that are of its kind (they left out what this one had said), or that say something about
/// people whom this one made known.
pub(in crate::intake) async fn later_lists(
    tx: &mut Tx,
    unit: UnitId,
    intake: &LockedIntake,
    made: &MadeByList,
) -> Result<Vec<LaterList>, ApiError> {
    let people: Vec<Uuid> = made.people.iter().map(|person| person.0).collect();
    let rows = sqlx::query_as!(
        LaterList,
        r#"select intake_id, kind, file_name, listed_on, made is null as "too_old!" from intake i
         where unit_id = $1 and state = 'applied' and intake_id <> $2 and log_seq > $3
           and ((season_id = $4 and kind = $5)
                or exists (select 1 from evidence e
                           where e.unit_id = $1 and e.intake_id = i.intake_id and e.person_id = any ($6))
                or exists (select 1 from screening_evidence e
                           where e.unit_id = $1 and e.intake_id = i.intake_id and e.person_id = any ($6)))
         order by log_seq desc"#,
        unit.0,
        intake.0.intake_id,
        intake.0.log_seq,
        intake.0.season_id,
        intake.0.kind,
        &people
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A decision that was taken after a list was applied, about a troop that the list's facts concern.
pub(in crate::intake) struct LaterDecision {
    pub kind: String,
    pub number: String,
    pub decided_at: DateTime<Utc>,
}

pub(in crate::intake) async fn later_decisions(
    tx: &mut Tx,
    unit: UnitId,
    intake: &LockedIntake,
    made: &MadeByList,
) -> Result<Vec<LaterDecision>, ApiError> {
    // Whether a season is a troop's first decides what is asked of it, and so decisions may stand on it.
    let first = made.described.iter().filter(|said| said.field == "first_season").map(|said| said.troop_id);
    let troops: Vec<Uuid> = first.map(|troop| troop.0).collect();
    let rows = sqlx::query_as!(
        LaterDecision,
        "with about as (
             select person_id, troop_id from evidence where unit_id = $1 and intake_id = $2
             union select person_id, null from screening_evidence where unit_id = $1 and intake_id = $2
         ), concerned as (
             select troop_id from about where troop_id is not null
             union select unnest($5::uuid[])
             union select a.troop_id from assignment a
             where a.unit_id = $1 and a.season_id = $3 and a.person_id in (select person_id from about)
         )
         select d.kind, t.number, d.decided_at
         from decision d join troop t on t.unit_id = d.unit_id and t.troop_id = d.troop_id
         where d.unit_id = $1 and d.season_id = $3 and d.log_seq > $4 and d.troop_id in (select troop_id from concerned)
         order by d.log_seq desc",
        unit.0,
        intake.0.intake_id,
        intake.0.season_id,
        intake.0.log_seq,
        &troops
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Something that hangs on a troop's place in a season which a list made.
pub(in crate::intake) struct TroopUse {
    pub troop_id: Uuid,
    pub number: String,
    pub what: String,
}

/// What hangs on places that a list made, and on troops that it made known, whatever became of it.
pub(in crate::intake) async fn troop_uses(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    made: &MadeByList,
) -> Result<Vec<TroopUse>, ApiError> {
    let ids = |troops: &[TroopId]| -> Vec<Uuid> { troops.iter().map(|troop| troop.0).collect() };
    let rows = sqlx::query_as!(
        TroopUse,
        r#"select t.troop_id, t.number, used.what as "what!"
           from (
               select troop_id, 'a coordinator' as what from assignment where unit_id = $1 and season_id = $2 and troop_id = any ($3)
               union select troop_id, 'a fact' from evidence where unit_id = $1 and season_id = $2 and troop_id = any ($3)
               union select troop_id, 'a waiver' from waiver where unit_id = $1 and season_id = $2 and troop_id = any ($3)
               union select troop_id, 'a decision' from decision where unit_id = $1 and season_id = $2 and troop_id = any ($3)
               union select troop_id, 'an opened gate' from gate_override where unit_id = $1 and season_id = $2 and troop_id = any ($3)
               union select troop_id, 'a contact' from troop_contact where unit_id = $1 and troop_id = any ($4)
               union select troop_id, 'a place in another season' from troop_season
               where unit_id = $1 and season_id <> $2 and troop_id = any ($4)
           ) used join troop t on t.unit_id = $1 and t.troop_id = used.troop_id
           order by t.number, t.troop_id, used.what"#,
        unit.0,
        season.0,
        &ids(&made.places),
        &ids(&made.troops)
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Marks a list as taken back.
pub(in crate::intake) async fn reverse(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    intake: &LockedIntake,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, at, actor) = (by.unit()?, tx.logged_at(), tx.actor().to_owned());
    sqlx::query!(
        "update intake set state = 'reversed', reversed_at = $3, reversed_by = $4, version = version + 1, log_seq = $5
         where unit_id = $1 and intake_id = $2",
        unit.0,
        intake.0.intake_id,
        at,
        actor,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
