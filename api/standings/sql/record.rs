//! Writing facts. Nothing here changes or removes one.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::super::record::{NewDecision, NewEvidence, Subject};
use super::super::rules::{DecisionKind, EvidenceOutcome, EvidenceSource};
use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{DecisionId, EvidenceId, IntakeId, SeasonId, UnitId};
use crate::error::ApiError;

/// The word for an outcome in the database.
pub(in super::super) fn outcome_word(outcome: EvidenceOutcome) -> &'static str {
    match outcome {
        EvidenceOutcome::Reported => "reported",
        EvidenceOutcome::Met => "met",
        EvidenceOutcome::NotMet => "not_met",
        EvidenceOutcome::Absent => "absent",
    }
}

/// The word for a source in the database.
pub(in super::super) fn source_word(source: EvidenceSource) -> &'static str {
    match source {
        EvidenceSource::List => "list",
        EvidenceSource::Certificate => "certificate",
        EvidenceSource::Manager => "manager",
        EvidenceSource::Person => "person",
    }
}

/// The word for a decision in the database.
pub(in super::super) fn decision_word(kind: DecisionKind) -> &'static str {
    match kind {
        DecisionKind::Appoint => "appoint",
        DecisionKind::Suspend => "suspend",
        DecisionKind::Restore => "restore",
        DecisionKind::StandDown => "stand_down",
        DecisionKind::SitOut => "sit_out",
        DecisionKind::Rejoin => "rejoin",
    }
}

/// When something was recorded, by whom, and at which place of the log.
pub(in super::super) struct Stamp {
    pub at: DateTime<Utc>,
    pub by: String,
    pub seq: i64,
}

/// Adds one fact.
pub(in super::super) async fn evidence<P: Permission>(
    tx: &mut Tx,
    _by: &Permit<P>,
    (unit, season): (UnitId, SeasonId),
    (new, restates): (&NewEvidence, bool),
    stamp: &Stamp,
) -> Result<EvidenceId, ApiError> {
    let id = EvidenceId::new();
    let (person, troop) = new.subject.ids();
    sqlx::query!(
        "insert into evidence (unit_id, evidence_id, season_id, requirement, person_id, troop_id, outcome, observed_on,
             valid_until_on, score_percent, source, intake_id, intake_row, note, recorded_at, recorded_by, log_seq, restates)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)",
        unit.0,
        id.0,
        season.0,
        new.requirement,
        person,
        troop,
        outcome_word(new.outcome),
        new.observed_on,
        new.valid_until_on,
        new.score_percent.map(i16::from),
        source_word(new.source),
        new.list_row.map(|(intake, _)| intake.0),
        new.list_row.and_then(|(_, row)| row),
        new.note,
        stamp.at,
        stamp.by,
        stamp.seq,
        restates
    )
    .execute(tx.db())
    .await?;
    Ok(id)
}

/// Adds one fact about a screening: kept apart, with outcome and dates only.
pub(in super::super) async fn screening<P: Permission>(
    tx: &mut Tx,
    _by: &Permit<P>,
    (unit, season): (UnitId, SeasonId),
    (new, restates): (&NewEvidence, bool),
    stamp: &Stamp,
) -> Result<EvidenceId, ApiError> {
    let id = EvidenceId::new();
    let Subject::Person(person) = new.subject else {
        return Err(ApiError::broken("a screening of a troop"));
    };
    sqlx::query!(
        "insert into screening_evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on,
             valid_until_on, source, intake_id, intake_row, recorded_at, recorded_by, log_seq, restates)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)",
        unit.0,
        id.0,
        season.0,
        new.requirement,
        person.0,
        outcome_word(new.outcome),
        new.observed_on,
        new.valid_until_on,
        source_word(new.source),
        new.list_row.map(|(intake, _)| intake.0),
        new.list_row.and_then(|(_, row)| row),
        stamp.at,
        stamp.by,
        stamp.seq,
        restates
    )
    .execute(tx.db())
    .await?;
    Ok(id)
}

/// Marks a list as taken back: its facts count no longer from here on.
pub(in super::super) async fn withdrawal<P: Permission>(
    tx: &mut Tx,
    _by: &Permit<P>,
    (unit, season): (UnitId, SeasonId),
    list: IntakeId,
    stamp: &Stamp,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into withdrawn_list (unit_id, intake_id, season_id, withdrawn_at, withdrawn_by, log_seq)
         values ($1, $2, $3, $4, $5, $6)",
        unit.0,
        list.0,
        season.0,
        stamp.at,
        stamp.by,
        stamp.seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Adds one decision.
pub(in super::super) async fn decision<P: Permission>(
    tx: &mut Tx,
    _by: &Permit<P>,
    (unit, season): (UnitId, SeasonId),
    new: &NewDecision,
    stamp: &Stamp,
) -> Result<DecisionId, ApiError> {
    let id = DecisionId::new();
    let assignment: Option<Uuid> = new.assignment.map(|assignment| assignment.0);
    sqlx::query!(
        "insert into decision (unit_id, decision_id, season_id, troop_id, assignment_id, kind, reason, decided_at,
             decided_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        unit.0,
        id.0,
        season.0,
        new.troop.0,
        assignment,
        decision_word(new.kind),
        new.reason,
        stamp.at,
        stamp.by,
        stamp.seq
    )
    .execute(tx.db())
    .await?;
    Ok(id)
}

/// Forgets cached answers, which are computed anew where the place still is.
pub(in super::super) async fn forget_places<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troops: &[Uuid],
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from standing where unit_id = $1 and season_id = $2 and troop_id = any ($3)",
        by.unit()?.0,
        season.0,
        troops
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
