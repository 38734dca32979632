//! Reading the facts of some troops of a season.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;

pub(in super::super) struct AssignmentRow {
    pub assignment_id: Uuid,
    pub troop_id: Uuid,
    pub person_id: Uuid,
    pub lead: bool,
    pub lead_changed_at: Vec<DateTime<Utc>>,
    pub from_at: DateTime<Utc>,
    pub until_at: Option<DateTime<Utc>>,
    pub proposed_at: Option<DateTime<Utc>>,
    pub confirmed_at: Option<DateTime<Utc>>,
    pub declined_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// Every assignment of these troops, present and past.
pub(in super::super) async fn assignments(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troops: &[Uuid],
) -> Result<Vec<AssignmentRow>, ApiError> {
    let rows = sqlx::query_as!(
        AssignmentRow,
        r#"select assignment_id, troop_id, person_id, lead, from_at, until_at, proposed_at, confirmed_at, declined_at, ended_at,
                  array(select changed_at from lead_change c
                        where c.unit_id = a.unit_id and c.assignment_id = a.assignment_id
                        order by c.log_seq) as "lead_changed_at!"
           from assignment a where unit_id = $1 and season_id = $2 and troop_id = any ($3)"#,
        unit.0,
        season.0,
        troops
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) struct EvidenceRow {
    pub evidence_id: Uuid,
    pub requirement: String,
    pub person_id: Option<Uuid>,
    pub troop_id: Option<Uuid>,
    pub outcome: String,
    pub observed_on: NaiveDate,
    pub valid_until_on: Option<NaiveDate>,
    pub score_percent: Option<i16>,
    pub source: String,
    pub recorded_at: DateTime<Utc>,
    pub log_seq: i64,
    pub restates: bool,
}

/// The evidence about these troops and people, as far as the unit's log had come; without what had been
/// withdrawn by then, by itself or with its list.
pub(in super::super) async fn evidence(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    (troops, people): (&[Uuid], &[Uuid]),
    up_to: i64,
) -> Result<Vec<EvidenceRow>, ApiError> {
    let rows = sqlx::query_as!(
        EvidenceRow,
        r#"select evidence_id as "evidence_id!", requirement as "requirement!", person_id, troop_id, outcome as "outcome!",
                  observed_on as "observed_on!", valid_until_on, score_percent, source as "source!",
                  recorded_at as "recorded_at!", log_seq as "log_seq!", restates as "restates!"
           from evidence
           where unit_id = $1 and season_id = $2 and (troop_id = any ($3) or person_id = any ($4)) and log_seq <= $5
             and not exists (select 1 from withdrawn_list w
                             where w.unit_id = $1 and w.intake_id = evidence.intake_id and w.log_seq <= $5)
             and not exists (select 1 from withdrawn_fact w
                             where w.unit_id = $1 and w.evidence_id = evidence.evidence_id and w.log_seq <= $5)
           union all
           select evidence_id, requirement, person_id, null, outcome, observed_on, valid_until_on, null, source,
                  recorded_at, log_seq, restates
           from screening_evidence
           where unit_id = $1 and season_id = $2 and person_id = any ($4) and log_seq <= $5
             and not exists (select 1 from withdrawn_list w
                             where w.unit_id = $1 and w.intake_id = screening_evidence.intake_id and w.log_seq <= $5)
             and not exists (select 1 from withdrawn_fact w
                             where w.unit_id = $1 and w.evidence_id = screening_evidence.evidence_id and w.log_seq <= $5)"#,
        unit.0,
        season.0,
        troops,
        people,
        up_to
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) struct WaiverRow {
    pub waiver_id: Uuid,
    pub requirement: String,
    pub person_id: Option<Uuid>,
    pub troop_id: Option<Uuid>,
    pub granted_at: DateTime<Utc>,
    pub until_on: NaiveDate,
    pub revoked_at: Option<DateTime<Utc>>,
}

/// The waivers of these troops and people that were ever in force.
pub(in super::super) async fn waivers(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    (troops, people): (&[Uuid], &[Uuid]),
) -> Result<Vec<WaiverRow>, ApiError> {
    let rows = sqlx::query_as!(
        WaiverRow,
        r#"select waiver_id, requirement, person_id, troop_id, granted_at as "granted_at!", until_on, revoked_at
           from waiver
           where unit_id = $1 and season_id = $2 and (troop_id = any ($3) or person_id = any ($4)) and granted_at is not null"#,
        unit.0,
        season.0,
        troops,
        people
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) struct OverrideRow {
    pub override_id: Uuid,
    pub troop_id: Uuid,
    pub gate: String,
    pub needs_two: bool,
    pub granted_at: DateTime<Utc>,
    pub until_on: NaiveDate,
    pub revoked_at: Option<DateTime<Utc>>,
}

/// The overrides of these troops' gates that were ever in force.
pub(in super::super) async fn overrides(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troops: &[Uuid],
) -> Result<Vec<OverrideRow>, ApiError> {
    let rows = sqlx::query_as!(
        OverrideRow,
        r#"select override_id, troop_id, gate, needs_two, granted_at as "granted_at!", until_on, revoked_at
           from gate_override
           where unit_id = $1 and season_id = $2 and troop_id = any ($3) and granted_at is not null"#,
        unit.0,
        season.0,
        troops
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) struct DecisionRow {
    pub decision_id: Uuid,
    pub troop_id: Uuid,
    pub assignment_id: Option<Uuid>,
    pub kind: String,
    pub decided_at: DateTime<Utc>,
    pub log_seq: i64,
}

/// The decisions about these troops, as far as the unit's log had come.
pub(in super::super) async fn decisions(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troops: &[Uuid],
    up_to: i64,
) -> Result<Vec<DecisionRow>, ApiError> {
    let rows = sqlx::query_as!(
        DecisionRow,
        "select decision_id, troop_id, assignment_id, kind, decided_at, log_seq from decision
         where unit_id = $1 and season_id = $2 and troop_id = any ($3) and log_seq <= $4",
        unit.0,
        season.0,
        troops,
        up_to
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in super::super) struct PersonRow {
    pub person_id: Uuid,
    pub first_name: String,
    pub last_name: String,
}

/// The names of people.
pub(in super::super) async fn names(tx: &mut Tx, unit: UnitId, people: &[Uuid]) -> Result<Vec<PersonRow>, ApiError> {
    let rows = sqlx::query_as!(
        PersonRow,
        "select person_id, first_name, last_name from person where unit_id = $1 and person_id = any ($2)
         order by last_name, first_name, person_id",
        unit.0,
        people
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
