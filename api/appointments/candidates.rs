//! About whom a decision could be taken now: pure.

use serde_json::json;

use crate::common::ids::{AssignmentId, PersonId, TroopId};
use crate::error::ApiError;
use crate::frozen::{canonical, sha256_hex};
use crate::standings::TroopThen;
use crate::standings::rules::{
    CoordinatorStanding, CoordinatorState, Deadline, DecisionKind, ReasonCode, Standing, TroopState,
};

/// Somebody about whom a decision could be taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Candidate {
    pub assignment: AssignmentId,
    pub person: PersonId,
    pub troop: TroopId,
    pub number: String,
    pub lead: bool,
    pub state: CoordinatorState,
    /// The milestone that is over, from which the policy wants an appointment; none for an appointment.
    pub deadline: Option<Deadline>,
    /// What confirms exactly this: it is another one as soon as anything that the decision rests on is.
    pub stamp: String,
}

/// The candidates of a troop: who is ready, to be appointed; and, to be suspended, who is not appointed although a
/// milestone is over from which the policy wants it.
///
/// # Errors
/// An internal error if a standing has no JSON form.
pub(super) fn of_troop(kind: DecisionKind, then: &TroopThen, standing: &Standing) -> Result<Vec<Candidate>, ApiError> {
    if standing.state == TroopState::SittingOut {
        return Ok(Vec::new());
    }
    let missed = missed_deadline(standing);
    let mut found = Vec::new();
    for one in &standing.coordinators {
        let deadline = match (kind, one.state) {
            (DecisionKind::Appoint, CoordinatorState::Ready) => None,
            (
                DecisionKind::Suspend,
                CoordinatorState::Gathering | CoordinatorState::Ready | CoordinatorState::Lapsed,
            ) if one.counted && missed.is_some() => missed.clone(),
            _ => continue,
        };
        found.push(Candidate {
            assignment: one.assignment_id,
            person: one.person_id,
            troop: then.troop_id,
            number: then.number.clone(),
            lead: one.lead,
            state: one.state,
            stamp: stamp(kind, then, standing, one, deadline.as_ref())?,
            deadline,
        });
    }
    Ok(found)
}

/// The last milestone that is over from which a gate wants the troop to be appointed, and it is not.
fn missed_deadline(standing: &Standing) -> Option<Deadline> {
    let reasons = standing.gates.iter().flat_map(|gate| &gate.reasons);
    let missed =
        reasons.filter(|reason| reason.code == ReasonCode::NotAppointed).filter_map(|reason| reason.from.clone());
    missed.max_by_key(|deadline| deadline.at)
}

/// Everything that the decision rests on: who and where, the states, and every requirement with what proves it.
fn stamp(
    kind: DecisionKind,
    then: &TroopThen,
    standing: &Standing,
    one: &CoordinatorStanding,
    deadline: Option<&Deadline>,
) -> Result<String, ApiError> {
    let rests_on = json!({
        "decision": kind, "troop_id": then.troop_id, "number": then.number, "troop_state": standing.state,
        "troop": standing.requirements, "coordinator": one, "deadline": deadline,
    });
    let text = canonical(&rests_on).map_err(|error| ApiError::internal(&error))?;
    Ok(sha256_hex(text.as_bytes()))
}
