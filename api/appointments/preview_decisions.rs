//! About whom a decision could be taken now.

use std::collections::BTreeMap;

use actix_web::get;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::candidates::{self, Candidate};
use crate::auth::Permit;
use crate::auth::permission::{DecisionsTake, PeopleRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Problems};
use crate::standings::rules::{CoordinatorState, Deadline, DecisionKind};
use crate::{seasons, standings};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct DecisionsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which decision.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DecisionsQuery {
    /// What could be decided.
    #[garde(skip)]
    decision: BulkDecision,
}

/// The decisions that can be taken about many at once. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BulkDecision {
    /// Appoint who has everything in order.
    Appoint,
    /// Suspend who is not appointed, although a milestone is over from which the policy wants it.
    Suspend,
}

impl BulkDecision {
    pub(super) const fn kind(self) -> DecisionKind {
        match self {
            Self::Appoint => DecisionKind::Appoint,
            Self::Suspend => DecisionKind::Suspend,
        }
    }
}

/// Somebody about whom it could be decided.
#[derive(Debug, Serialize, ToSchema)]
pub struct DecisionCandidate {
    /// The assignment that the decision would concern.
    pub assignment_id: AssignmentId,
    /// The troop.
    pub troop_id: TroopId,
    /// Its number.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// The coordinator.
    pub person_id: PersonId,
    /// The name; null for whoever may not see people.
    #[schema(required = true, max_length = 162)]
    pub name: Option<String>,
    /// Whether this is the troop's lead.
    pub lead: bool,
    /// Where the coordinator stands.
    pub state: CoordinatorState,
    /// To suspend: the milestone that is over, from which the policy wants an appointment. Null to appoint.
    #[schema(required = true)]
    pub deadline: Option<Deadline>,
    /// What confirms this one decision: send it with the assignment to `take_decisions`. It is another one as soon as
    /// anything that the decision rests on is.
    #[schema(min_length = 64, max_length = 64)]
    pub stamp: String,
}

/// About whom it could be decided, as things stand.
#[derive(Debug, Serialize, ToSchema)]
pub struct DecisionsPreview {
    /// The season.
    pub season_id: SeasonId,
    /// The instant at which this stands.
    pub stands_at: DateTime<Utc>,
    /// What could be decided.
    pub decision: BulkDecision,
    /// About whom, by the troops' numbers.
    #[schema(max_items = 10000)]
    pub candidates: Vec<DecisionCandidate>,
}

/// Preview which coordinators could be appointed now, or would be suspended by the policy's deadline. Nothing is decided.
///
/// To be appointed: who has every requirement met or waived. To be suspended: who counts for a troop and is not appointed,
/// while a gate that wants an appointment from a milestone on holds the troop back (an override lets it through). A policy
/// that names no such milestone has nobody to be suspended at once; each one can still be suspended singly.
#[utoipa::path(tag = "appointments", params(DecisionsPath, DecisionsQuery), extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "About whom it could be decided.", body = DecisionsPreview), Problems))]
#[get("/v1/units/{unit_id}/decisions/preview")]
pub async fn preview_decisions(
    permit: Permit<DecisionsTake>,
    _path: Path<DecisionsPath>,
    query: Query<DecisionsQuery>,
) -> Result<Answer<DecisionsPreview>, ApiError> {
    let (mut tx, unit, decision) = (permit.tx()?, permit.unit()?, query.0.decision);
    let season = seasons::current(&mut tx, unit).await?;
    let then = standings::all(&mut tx, unit, &season, None, permit.scope()).await?;
    let mut found: Vec<Candidate> = Vec::new();
    for troop in &then.troops {
        let standing = standings::seen_by(&permit, troop.troop_id, troop.standing.clone());
        found.extend(candidates::of_troop(decision.kind(), troop, &standing)?);
    }
    let people: Vec<PersonId> = found.iter().map(|one| one.person).collect();
    let names: BTreeMap<PersonId, String> = if permit.holds::<PeopleRead>() {
        standings::names(&mut tx, unit, &people).await?.into_iter().collect()
    } else {
        BTreeMap::new()
    };
    let candidates = found.into_iter().map(|one| DecisionCandidate {
        assignment_id: one.assignment,
        troop_id: one.troop,
        number: one.number,
        person_id: one.person,
        name: names.get(&one.person).cloned(),
        lead: one.lead,
        state: one.state,
        deadline: one.deadline,
        stamp: one.stamp,
    });
    let candidates = candidates.collect();
    let preview = DecisionsPreview { season_id: season.season_id, stands_at: then.at, decision, candidates };
    Ok(Answer::new(&preview)?.tag_without(&["stands_at"]))
}
