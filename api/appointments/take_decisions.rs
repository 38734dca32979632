//! Decide about many coordinators at once, as it was previewed.

use std::collections::BTreeMap;

use actix_web::post;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::candidates::{self, Candidate};
use super::decide::needed;
use super::preview_decisions::{BulkDecision, DecisionsPath};
use super::rules;
use super::sql::{self, LockedAssignment};
use super::tell::tell;
use crate::auth::permission::{DecisionsTake, Permission as _};
use crate::auth::{Permit, Scope, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, DecisionId, SeasonId, TroopId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons::{self, ThisSeason};
use crate::server::run::Around;
use crate::standings::rules::TroopState;
use crate::standings::{self, NewDecision};

/// What is decided, and about whom.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"decision": "appoint", "reason": "Everything is in order.", "assignments": [{"assignment_id": "0198c0de-0000-7000-8000-000000000301", "stamp": "2bd806c97f0e00af1a1fc3328fa763a9269723c8db8fac4f93af71db186d6e90"}]}))]
pub struct NewDecisions {
    /// What is decided.
    #[garde(skip)]
    decision: BulkDecision,
    /// Why, for whoever asks later; it stands with each decision. To suspend it is needed.
    #[garde(length(chars, min = 1, max = 400))]
    #[schema(min_length = 1, max_length = 400)]
    reason: Option<String>,
    /// About whom: any of those that `preview_decisions` told, each with its stamp.
    #[garde(dive, length(min = 1, max = 200))]
    #[schema(min_items = 1, max_items = 200)]
    assignments: Vec<DecidedAssignment>,
}

/// One of those that were previewed.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DecidedAssignment {
    /// The assignment.
    #[garde(skip)]
    assignment_id: AssignmentId,
    /// The stamp that was previewed with it.
    #[garde(length(min = 1, max = 64))]
    #[schema(min_length = 1, max_length = 64)]
    stamp: String,
}

/// One decision of several.
#[derive(Debug, Serialize, ToSchema)]
pub struct TakenDecision {
    /// The decision: a fact of its own, as if taken singly.
    pub decision_id: DecisionId,
    /// The assignment that it concerns.
    pub assignment_id: AssignmentId,
    /// The troop.
    pub troop_id: TroopId,
    /// Where the troop stands now.
    pub troop_state: TroopState,
}

/// What was decided.
#[derive(Debug, Serialize, ToSchema)]
pub struct TakenDecisions {
    /// The season.
    pub season_id: SeasonId,
    /// What was decided.
    pub decision: BulkDecision,
    /// When.
    pub decided_at: DateTime<Utc>,
    /// Each decision, in the order in which they were sent.
    #[schema(min_items = 1, max_items = 200)]
    pub decisions: Vec<TakenDecision>,
}

/// Take a decision about many coordinators at once, as it was previewed: all of them, or none.
///
/// Each is a decision of its own, as if it had been taken singly, and each coordinator is written to. If anything that one of them rests on has changed since the
/// preview, none is taken, and the answer names each that differs.
#[utoipa::path(tag = "appointments", params(DecisionsPath), request_body = NewDecisions, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "What was decided.", body = TakenDecisions), Problems))]
#[post("/v1/units/{unit_id}/decisions")]
pub async fn take_decisions(
    permit: Permit<DecisionsTake>,
    around: Around,
    _path: Path<DecisionsPath>,
    body: Json<NewDecisions>,
) -> Result<Answer<TakenDecisions>, ApiError> {
    let (unit, new) = (permit.unit()?, body.0);
    if matches!(new.decision, BulkDecision::Suspend) {
        needed(new.reason.as_deref())?;
    }
    let mut tx = permit.tx()?;
    let current = seasons::current(&mut tx, unit).await?;
    let ids: Vec<AssignmentId> = new.assignments.iter().map(|one| one.assignment_id).collect();
    let found = sql::find(&mut tx, &permit, current.season_id, &ids).await?;
    known(&permit, &new, &found)?;
    tx.replay_required().await?;
    let season = seasons::guard_open(&mut tx, unit, current.season_id).await?;
    let touched = Touched::some(
        season.season_id,
        found.iter().map(|one| one.person).collect(),
        found.iter().map(|one| one.troop).collect(),
    );
    change::hold(&mut tx, unit, &touched).await?;
    let chosen = as_previewed(&mut tx, &permit, &season, &new, &found).await?;
    let mut taken = Vec::new();
    for one in &chosen {
        let decision = NewDecision {
            kind: new.decision.kind(),
            troop: one.troop,
            assignment: Some(one.assignment),
            reason: new.reason.clone(),
        };
        let id = standings::record_decision(&mut tx, &permit, season.season_id, &decision).await?;
        tx.about("decision", id);
        tx.about("assignment", one.assignment);
        tx.about("person", one.person);
        tx.about("troop", one.troop);
        taken.push(id);
    }
    change::refresh(&mut tx, unit, &touched).await?;
    let then = standings::all(&mut tx, unit, &season, None, &scope(&found)).await?;
    for one in &chosen {
        if let Some(troop) = then.troops.iter().find(|troop| troop.troop_id == one.troop) {
            tell(&mut tx, &around, &permit, &season, (new.decision.kind(), one.person, troop)).await?;
        }
    }
    let states: BTreeMap<TroopId, TroopState> =
        then.troops.into_iter().map(|troop| (troop.troop_id, troop.standing.state)).collect();
    let decisions = chosen.iter().zip(taken).filter_map(|(one, decision_id)| {
        let troop_state = *states.get(&one.troop)?;
        Some(TakenDecision { decision_id, assignment_id: one.assignment, troop_id: one.troop, troop_state })
    });
    let answer = TakenDecisions {
        season_id: season.season_id,
        decision: new.decision,
        decided_at: tx.logged_at(),
        decisions: decisions.collect(),
    };
    tx.commit_with(Answer::new(&answer)?).await
}

/// Each is an assignment of the season in reach, and is named once.
fn known(permit: &Permit<DecisionsTake>, new: &NewDecisions, found: &[LockedAssignment]) -> Result<(), ApiError> {
    let mut faults = Vec::new();
    for (place, one) in new.assignments.iter().enumerate() {
        let at = format!("/assignments/{place}/assignment_id");
        let held = found.iter().find(|held| held.id == one.assignment_id);
        if held.is_none_or(|held| permit.reach(held.troop).is_err()) {
            faults.push(FieldError::at(
                at,
                "unknown",
                "an assignment of the current season, as preview_decisions tells it",
            ));
        } else if new.assignments.iter().take(place).any(|other| other.assignment_id == one.assignment_id) {
            faults.push(FieldError::at(at, "twice", "each assignment once"));
        }
    }
    let code = if faults.iter().any(|fault| fault.code == "unknown") { Code::UnknownReference } else { Code::Invalid };
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(code).errors(faults)) }
}

fn scope(found: &[LockedAssignment]) -> Scope {
    Scope::Troops(found.iter().map(|one| one.troop).collect())
}

/// Those who were chosen, as they stand now and as they were previewed; refused as a whole if one of them differs.
async fn as_previewed(
    tx: &mut Tx,
    permit: &Permit<DecisionsTake>,
    season: &ThisSeason,
    new: &NewDecisions,
    found: &[LockedAssignment],
) -> Result<Vec<Candidate>, ApiError> {
    let kind = new.decision.kind();
    let then = standings::all(tx, permit.unit()?, season, None, &scope(found)).await?;
    let mut now = BTreeMap::new();
    for troop in &then.troops {
        let standing = standings::seen_by(permit, troop.troop_id, troop.standing.clone());
        for one in candidates::of_troop(kind, troop, &standing)? {
            // What is told singly holds here too, whatever the preview says.
            if rules::may(kind, Some(one.assignment), &standing).is_ok() {
                now.insert(one.assignment, one);
            }
        }
    }
    let (mut chosen, mut faults) = (Vec::new(), Vec::new());
    for (place, one) in new.assignments.iter().enumerate() {
        match now.remove(&one.assignment_id) {
            Some(candidate) if candidate.stamp == one.stamp => chosen.push(candidate),
            held => {
                let number = found.iter().find(|held| held.id == one.assignment_id);
                let number = number.and_then(|held| then.troops.iter().find(|troop| troop.troop_id == held.troop));
                let troop = number.map_or_else(|| "its troop".to_owned(), |troop| format!("troop {}", troop.number));
                let detail = match held {
                    Some(_) => format!("What this decision about {troop} rests on has changed; look at it again."),
                    None => {
                        format!("This coordinator of {troop} is not among those any more whom it can be decided about.")
                    }
                };
                faults.push(FieldError::at(format!("/assignments/{place}"), "changed", detail));
            }
        }
    }
    if faults.is_empty() {
        return Ok(chosen);
    }
    let detail = "What was previewed has changed for those named below, so nothing was decided. Preview again (preview_decisions), and send those that are still meant.";
    Err(ApiError::new(Code::PreviewStale).detail(detail).errors(faults))
}
