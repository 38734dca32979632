//! From rows to facts: what the rules are told about some troops of a season.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::rules::{
    AssignmentFact, DecisionFact, DecisionKind, EvidenceFact, EvidenceOutcome, EvidenceSource, Facts, OverrideFact,
    WaiverFact,
};
use super::sql::cache::TroopRow;
use super::sql::facts::{self, DecisionRow, EvidenceRow, OverrideRow};
use crate::auth::Tx;
use crate::common::ids::{AssignmentId, DecisionId, EvidenceId, OverrideId, PersonId, SeasonId, UnitId, WaiverId};
use crate::error::ApiError;
use crate::seasons::policy::GateName;

/// The facts of each of these troops, as far as the unit's log had come.
pub(super) async fn facts(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    rows: &[&TroopRow],
    up_to: i64,
) -> Result<BTreeMap<Uuid, Facts>, ApiError> {
    let troops: Vec<Uuid> = rows.iter().map(|row| row.troop_id).collect();
    let assignments = facts::assignments(tx, unit, season, &troops).await?;
    let people: BTreeSet<Uuid> = assignments.iter().map(|row| row.person_id).collect();
    let people: Vec<Uuid> = people.into_iter().collect();
    let evidence = facts::evidence(tx, unit, season, (&troops, &people), up_to).await?;
    let waivers = facts::waivers(tx, unit, season, (&troops, &people)).await?;
    let overrides = facts::overrides(tx, unit, season, &troops).await?;
    let decisions = facts::decisions(tx, unit, season, &troops, up_to).await?;
    let mut told = BTreeMap::new();
    for row in rows {
        let troop = row.troop_id;
        let own: Vec<_> = assignments.iter().filter(|one| one.troop_id == troop).collect();
        // A person's facts count in every troop of that person, a troop's in that troop alone.
        let about = |person: Option<Uuid>, of_troop: Option<Uuid>| {
            of_troop == Some(troop) || person.is_some_and(|person| own.iter().any(|one| one.person_id == person))
        };
        let evidence = evidence.iter().filter(|fact| about(fact.person_id, fact.troop_id));
        let overrides = overrides.iter().filter(|one| one.troop_id == troop);
        let decisions = decisions.iter().filter(|decision| decision.troop_id == troop);
        told.insert(
            troop,
            Facts {
                first_season: row.first_season,
                evidence: evidence.map(evidence_fact).collect::<Result<_, _>>()?,
                overrides: overrides.map(override_fact).collect::<Result<_, _>>()?,
                decisions: decisions.map(decision_fact).collect::<Result<_, _>>()?,
                waivers: waivers
                    .iter()
                    .filter(|waiver| about(waiver.person_id, waiver.troop_id))
                    .map(|waiver| WaiverFact {
                        waiver_id: WaiverId(waiver.waiver_id),
                        requirement: waiver.requirement.clone(),
                        person_id: waiver.person_id.map(PersonId),
                        granted_at: waiver.granted_at,
                        until_on: waiver.until_on,
                        revoked_at: waiver.revoked_at,
                    })
                    .collect(),
                assignments: own.iter().map(|one| assignment_fact(one)).collect(),
            },
        );
    }
    Ok(told)
}

pub(super) fn assignment_fact(row: &facts::AssignmentRow) -> AssignmentFact {
    AssignmentFact {
        assignment_id: AssignmentId(row.assignment_id),
        person_id: PersonId(row.person_id),
        lead: row.lead,
        lead_changed_at: row.lead_changed_at.clone(),
        from_at: row.from_at,
        until_at: row.until_at,
        proposed_at: row.proposed_at,
        confirmed_at: row.confirmed_at,
        declined_at: row.declined_at,
        ended_at: row.ended_at,
    }
}

pub(super) fn evidence_fact(row: &EvidenceRow) -> Result<EvidenceFact, ApiError> {
    Ok(EvidenceFact {
        evidence_id: EvidenceId(row.evidence_id),
        requirement: row.requirement.clone(),
        person_id: row.person_id.map(PersonId),
        outcome: outcome_of(&row.outcome)?,
        observed_on: row.observed_on,
        valid_until_on: row.valid_until_on,
        score_percent: row.score_percent.and_then(|score| u8::try_from(score).ok()),
        source: source_of(&row.source)?,
        recorded_at: row.recorded_at,
        seq: row.log_seq,
        restates: row.restates,
    })
}

/// What a fact says, by the word in the database.
pub(super) fn outcome_of(word: &str) -> Result<EvidenceOutcome, ApiError> {
    match word {
        "reported" => Ok(EvidenceOutcome::Reported),
        "met" => Ok(EvidenceOutcome::Met),
        "not_met" => Ok(EvidenceOutcome::NotMet),
        "absent" => Ok(EvidenceOutcome::Absent),
        _ => Err(ApiError::broken("evidence with an unknown outcome")),
    }
}

/// Where a fact comes from, by the word in the database.
pub(super) fn source_of(word: &str) -> Result<EvidenceSource, ApiError> {
    match word {
        "list" => Ok(EvidenceSource::List),
        "certificate" => Ok(EvidenceSource::Certificate),
        "manager" => Ok(EvidenceSource::Manager),
        "person" => Ok(EvidenceSource::Person),
        _ => Err(ApiError::broken("evidence from an unknown source")),
    }
}

fn override_fact(row: &OverrideRow) -> Result<OverrideFact, ApiError> {
    Ok(OverrideFact {
        override_id: OverrideId(row.override_id),
        gate: gate_named(&row.gate)?,
        two_people: row.needs_two,
        granted_at: row.granted_at,
        until_on: row.until_on,
        revoked_at: row.revoked_at,
    })
}

/// The gate of this name in the database.
pub(super) fn gate_named(name: &str) -> Result<GateName, ApiError> {
    let known = GateName::ALL.into_iter().find(|gate| gate.name() == name);
    known.ok_or_else(|| ApiError::broken("an override of an unknown gate"))
}

/// The decision of this name in the database.
///
/// # Errors
/// An internal error for an unknown one.
pub fn decision_kind(name: &str) -> Result<DecisionKind, ApiError> {
    match name {
        "appoint" => Ok(DecisionKind::Appoint),
        "suspend" => Ok(DecisionKind::Suspend),
        "restore" => Ok(DecisionKind::Restore),
        "stand_down" => Ok(DecisionKind::StandDown),
        "sit_out" => Ok(DecisionKind::SitOut),
        "rejoin" => Ok(DecisionKind::Rejoin),
        _ => Err(ApiError::broken("an unknown decision")),
    }
}

fn decision_fact(row: &DecisionRow) -> Result<DecisionFact, ApiError> {
    Ok(DecisionFact {
        decision_id: DecisionId(row.decision_id),
        kind: decision_kind(&row.kind)?,
        assignment_id: row.assignment_id.map(AssignmentId),
        decided_at: row.decided_at,
        seq: row.log_seq,
    })
}
