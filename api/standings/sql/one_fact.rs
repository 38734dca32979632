//! Every query of facts one by one: looked at, and withdrawn.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::record::Stamp;
use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{EvidenceId, SeasonId, UnitId};
use crate::error::ApiError;
use crate::standings::one_fact::FactsWanted;

/// A fact with where it comes from, and what became of it.
pub struct FactRow {
    pub evidence_id: Uuid,
    pub season_id: Uuid,
    pub requirement: String,
    pub person_id: Option<Uuid>,
    pub troop_id: Option<Uuid>,
    pub outcome: String,
    pub observed_on: NaiveDate,
    pub valid_until_on: Option<NaiveDate>,
    pub score_percent: Option<i16>,
    pub source: String,
    pub intake_id: Option<Uuid>,
    pub intake_row: Option<i32>,
    pub note: Option<String>,
    pub recorded_at: DateTime<Utc>,
    pub recorded_by: String,
    pub withdrawn_at: Option<DateTime<Utc>>,
    pub screening: bool,
}

/// Facts of a season, the newest first; screenings among them only where they are asked for.
pub(in super::super) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    wanted: &FactsWanted,
) -> Result<Vec<FactRow>, ApiError> {
    look(tx, unit, (Some(season), None), wanted).await
}

/// Facts of both tables with what became of them: of one season, or of all; all of them, or one.
async fn look(
    tx: &mut Tx,
    unit: UnitId,
    (season, fact): (Option<SeasonId>, Option<EvidenceId>),
    wanted: &FactsWanted,
) -> Result<Vec<FactRow>, ApiError> {
    let rows = sqlx::query_as!(
        FactRow,
        r#"select f.evidence_id as "evidence_id!", season_id as "season_id!", requirement as "requirement!", person_id,
                  troop_id, outcome as "outcome!", observed_on as "observed_on!", valid_until_on, score_percent,
                  source as "source!", f.intake_id, intake_row, note, recorded_at as "recorded_at!",
                  recorded_by as "recorded_by!", coalesce(w.withdrawn_at, l.withdrawn_at) as "withdrawn_at?",
                  screening as "screening!"
           from (select evidence_id, season_id, requirement, person_id, troop_id, outcome, observed_on, valid_until_on,
                        score_percent, source, intake_id, intake_row, note, recorded_at, recorded_by, log_seq, false as screening
                 from evidence
                 where unit_id = $1 and ($2::uuid is null or season_id = $2) and ($9::uuid is null or evidence_id = $9)
                 union all
                 select evidence_id, season_id, requirement, person_id, null, outcome, observed_on, valid_until_on, null,
                        source, intake_id, intake_row, null, recorded_at, recorded_by, log_seq, true
                 from screening_evidence
                 where unit_id = $1 and ($2::uuid is null or season_id = $2) and ($9::uuid is null or evidence_id = $9) and $3) f
           left join (select evidence_id, withdrawn_at, log_seq from withdrawn_fact where unit_id = $1) w on w.evidence_id = f.evidence_id
           left join (select intake_id, withdrawn_at, log_seq from withdrawn_list where unit_id = $1) l on l.intake_id = f.intake_id
           where ($4::uuid is null or person_id = $4) and ($5::uuid is null or troop_id = $5)
             and ($6::text is null or requirement = $6) and ($7::uuid is null or f.evidence_id < $7)
             and ($10::bigint is null or f.log_seq > $10 or w.log_seq > $10 or l.log_seq > $10)
           order by f.evidence_id desc limit $8"#,
        unit.0,
        season.map(|season| season.0),
        wanted.screenings,
        wanted.person.map(|person| person.0),
        wanted.troop.map(|troop| troop.0),
        wanted.requirement,
        wanted.after.map(|fact| fact.0),
        wanted.limit,
        fact.map(|fact| fact.0),
        wanted.since
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// One fact, of whatever season.
pub(in super::super) async fn find(tx: &mut Tx, unit: UnitId, fact: EvidenceId) -> Result<Option<FactRow>, ApiError> {
    Ok(look(tx, unit, (None, Some(fact)), &FactsWanted::ONE).await?.pop())
}

/// Marks a fact as withdrawn: it counts no longer from here on.
pub(in super::super) async fn withdraw<P: Permission>(
    tx: &mut Tx,
    _by: &Permit<P>,
    (unit, season): (UnitId, SeasonId),
    fact: EvidenceId,
    stamp: &Stamp,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into withdrawn_fact (unit_id, evidence_id, season_id, withdrawn_at, withdrawn_by, log_seq)
         values ($1, $2, $3, $4, $5, $6)",
        unit.0,
        fact.0,
        season.0,
        stamp.at,
        stamp.by,
        stamp.seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
