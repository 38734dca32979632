//! Adding facts: the one way by which evidence and decisions come into the database, for every feature.

use chrono::NaiveDate;
use uuid::Uuid;

use super::rules::{DecisionKind, EvidenceOutcome, EvidenceSource};
use super::sql::record::{self, Stamp};
use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, DecisionId, EvidenceId, IntakeId, PersonId, SeasonId, TroopId};
use crate::error::ApiError;
use crate::seasons::policy::{Policy, Requirement, RequirementKind, ValidityKind};

/// Whom a fact is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// A person.
    Person(PersonId),
    /// A troop.
    Troop(TroopId),
}

impl Subject {
    pub(super) fn ids(self) -> (Option<Uuid>, Option<Uuid>) {
        match self {
            Self::Person(person) => (Some(person.0), None),
            Self::Troop(troop) => (None, Some(troop.0)),
        }
    }
}

/// A fact to be added. Whoever adds it has checked it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewEvidence {
    /// The code of a requirement of the policy in force.
    pub requirement: String,
    /// Whom it is about.
    pub subject: Subject,
    /// What it says.
    pub outcome: EvidenceOutcome,
    /// The day for which it says so.
    pub observed_on: NaiveDate,
    /// The last day for which it holds, where it names one.
    pub valid_until_on: Option<NaiveDate>,
    /// The score, in whole percent rounded down, where it carries one.
    pub score_percent: Option<u8>,
    /// Where it comes from.
    pub source: EvidenceSource,
    /// The uploaded list and the number of its row, where it comes from one; no row for what a complete list lacks.
    pub list_row: Option<(IntakeId, Option<i32>)>,
    /// How it was seen; never kept for a screening.
    pub note: Option<String>,
}

/// A decision to be added. Whoever adds it has checked that it may be taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewDecision {
    /// What is decided.
    pub kind: DecisionKind,
    /// About which troop.
    pub troop: TroopId,
    /// About which of its assignments; none for the troop's season.
    pub assignment: Option<AssignmentId>,
    /// Why.
    pub reason: Option<String>,
}

/// Adds facts. Call `change::hold` before and `change::refresh` after, with everyone they are about.
///
/// Facts about a screening go into a table of their own, without score and note.
///
/// # Errors
/// Database faults.
pub async fn record_evidence<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    policy: &Policy,
    facts: &[NewEvidence],
) -> Result<Vec<EvidenceId>, ApiError> {
    let place = (by.unit()?, season);
    let stamp = stamp(tx).await?;
    let mut ids = Vec::new();
    for fact in facts {
        let asked = policy.requirements.iter().find(|asked| asked.code == fact.requirement);
        let screening = asked.is_some_and(|asked| asked.kind == RequirementKind::Screening);
        let told = (fact, restates(asked, fact));
        ids.push(if screening {
            record::screening(tx, by, place, told, &stamp).await?
        } else {
            record::evidence(tx, by, place, told, &stamp).await?
        });
    }
    Ok(ids)
}

/// Whether a fact says anew how long its requirement holds, where the policy lets the proof say so.
///
/// Who looks again and names a day has the last word on it, sooner or later than the one before: head office's lists and the
/// manager.
fn restates(asked: Option<&Requirement>, fact: &NewEvidence) -> bool {
    asked.is_some_and(|asked| asked.validity.kind == ValidityKind::UntilEvidenceDate)
        && fact.outcome == EvidenceOutcome::Met
        && matches!(fact.source, EvidenceSource::List | EvidenceSource::Manager)
        && fact.valid_until_on.is_some()
}

/// Takes back what a list said: from now on its facts count no longer, while an answer as of an earlier instant still
/// counts them. Call `change::hold` before and `change::refresh` after.
///
/// # Errors
/// Database faults.
pub async fn withdraw_list<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    list: IntakeId,
) -> Result<(), ApiError> {
    let place = (by.unit()?, season);
    let stamp = stamp(tx).await?;
    record::withdrawal(tx, by, place, list, &stamp).await
}

/// Forgets the cached answers of troops whose place in a season is about to go.
///
/// # Errors
/// Database faults.
pub async fn forget_places<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troops: &[TroopId],
) -> Result<(), ApiError> {
    let troops: Vec<Uuid> = troops.iter().map(|troop| troop.0).collect();
    record::forget_places(tx, by, season, &troops).await
}

/// Adds a decision. Call `change::hold` before and `change::refresh` after.
///
/// # Errors
/// Database faults.
pub async fn record_decision<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    decision: &NewDecision,
) -> Result<DecisionId, ApiError> {
    let place = (by.unit()?, season);
    let stamp = stamp(tx).await?;
    record::decision(tx, by, place, decision, &stamp).await
}

/// The place in the log comes first, since the instant is that of the log.
pub(super) async fn stamp(tx: &mut Tx) -> Result<Stamp, ApiError> {
    let seq = tx.seq().await?;
    Ok(Stamp { at: tx.logged_at(), by: tx.actor().to_owned(), seq })
}
