//! Decide about a coordinator: appoint, suspend, restore, stand down.

use actix_web::post;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::rules::{self, Refusal};
use super::sql;
use super::tell::tell;
use crate::auth::permission::{DecisionsTake, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, DecisionId, MessageId, PersonId, TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::one_troop::{self, GoesOnWithTroop};
use crate::seasons::{self, ThisSeason};
use crate::server::run::{Around, Surroundings};
use crate::standings::rules::DecisionKind;
use crate::standings::{self, NewDecision, TroopStanding};

/// Which assignment.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct DecisionPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The assignment.
    #[param(value_type = uuid::Uuid)]
    assignment_id: AssignmentId,
}

/// A decision's reason.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "Everything is in order."}))]
pub struct DecisionReason {
    /// Why, for whoever asks later; leave it out if there is nothing to say.
    #[garde(length(chars, min = 1, max = 400))]
    #[schema(min_length = 1, max_length = 400)]
    pub(super) reason: Option<String>,
}

/// A decision that somebody will be asked about: why it was taken.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "Kit not collected and three calls not answered."}))]
pub struct NeededReason {
    /// Why, in a few words: whoever looks at it next reads it.
    #[garde(length(chars, min = 1, max = 400))]
    #[schema(value_type = String, required = true, min_length = 1, max_length = 400)]
    pub(super) reason: Option<String>,
}

impl NeededReason {
    /// The decision's reason, which must be there.
    pub(super) fn given(self) -> Result<DecisionReason, ApiError> {
        needed(self.reason.as_deref())?;
        Ok(DecisionReason { reason: self.reason })
    }
}

/// Refuses a decision without a reason.
pub(super) fn needed(reason: Option<&str>) -> Result<(), ApiError> {
    if reason.is_some_and(|reason| !reason.trim().is_empty()) {
        return Ok(());
    }
    let detail = "why, in a few words: whoever looks at it next, or is asked about it, reads this";
    Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/reason", "missing", detail)]))
}

/// A decision that was taken, and where the troop stands with it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = DecisionAndStanding)]
pub struct Decision {
    /// The decision.
    pub decision_id: DecisionId,
    /// What was decided.
    pub decision: DecisionKind,
    /// The assignment it concerns; null for the troop's season.
    #[schema(required = true)]
    pub assignment_id: Option<AssignmentId>,
    /// When.
    pub decided_at: DateTime<Utc>,
    /// Why; null when nothing was said.
    #[schema(required = true, max_length = 400)]
    pub reason: Option<String>,
    /// What a suspension does not close, in plain words: the gates that the policy leaves open; null where there is nothing
    /// to say.
    #[schema(required = true, max_length = 400)]
    pub still_open: Option<String>,
    /// What was let go for the troop and goes on after a standing-down: it was given to the troop, so look whether it is still
    /// meant. Empty for any other decision.
    #[schema(max_items = 200)]
    pub goes_on: Vec<GoesOnWithTroop>,
    /// The message that was written to the coordinator, a welcome or a suspension: on its way, or a draft (`find_message`). Null
    /// for any other decision.
    #[schema(required = true)]
    pub message_id: Option<MessageId>,
    /// Where the troop stands now.
    pub troop: TroopStanding,
}

/// Appoint a coordinator.
///
/// Refused while a requirement of the coordinator or of the troop is open: the answer names each, and who can close it.
#[utoipa::path(tag = "appointments", params(DecisionPath), request_body = DecisionReason, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "The decision.", body = Decision), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/appoint")]
pub async fn appoint_coordinator(
    permit: Permit<DecisionsTake>,
    around: Around,
    path: Path<DecisionPath>,
    body: Json<DecisionReason>,
) -> Result<Answer<Decision>, ApiError> {
    decide(&permit, &around, path.assignment_id, DecisionKind::Appoint, body.0).await
}

/// Suspend a coordinator until the suspension is taken back.
///
/// The policy's gates say what that closes: those that need an appointment. The answer names what stays open.
#[utoipa::path(tag = "appointments", params(DecisionPath), request_body = NeededReason, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "The decision.", body = Decision), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/suspend")]
pub async fn suspend_coordinator(
    permit: Permit<DecisionsTake>,
    around: Around,
    path: Path<DecisionPath>,
    body: Json<NeededReason>,
) -> Result<Answer<Decision>, ApiError> {
    decide(&permit, &around, path.assignment_id, DecisionKind::Suspend, body.0.given()?).await
}

/// Restore a suspended coordinator, who then stands as the evidence says.
///
/// For somebody who was appointed it is refused while a requirement of the coordinator or of the troop is open: the answer
/// names each, and who can close it. Who was suspended before being appointed goes on as before.
#[utoipa::path(tag = "appointments", params(DecisionPath), request_body = DecisionReason, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "The decision.", body = Decision), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/restore")]
pub async fn restore_coordinator(
    permit: Permit<DecisionsTake>,
    around: Around,
    path: Path<DecisionPath>,
    body: Json<DecisionReason>,
) -> Result<Answer<Decision>, ApiError> {
    decide(&permit, &around, path.assignment_id, DecisionKind::Restore, body.0).await
}

/// Let a coordinator stand down: the assignment ends, and with it the person's reach over the troop.
///
/// What the person did stays with the person; whoever comes next begins with an assignment of their own.
#[utoipa::path(tag = "appointments", params(DecisionPath), request_body = NeededReason, extensions(("x-permission" = json!(DecisionsTake::NAME))), responses((status = 200, description = "The decision.", body = Decision), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/stand-down")]
pub async fn stand_down_coordinator(
    permit: Permit<DecisionsTake>,
    around: Around,
    path: Path<DecisionPath>,
    body: Json<NeededReason>,
) -> Result<Answer<Decision>, ApiError> {
    decide(&permit, &around, path.assignment_id, DecisionKind::StandDown, body.0.given()?).await
}

async fn decide(
    permit: &Permit<DecisionsTake>,
    around: &Surroundings,
    assignment: AssignmentId,
    kind: DecisionKind,
    body: DecisionReason,
) -> Result<Answer<Decision>, ApiError> {
    let mut tx = permit.tx()?;
    let locked = sql::lock(&mut tx, permit, assignment).await?;
    tx.replay_required().await?;
    let season = seasons::guard_open(&mut tx, permit.unit()?, locked.season).await?;
    let touched = Touched::some(locked.season, vec![locked.person], vec![locked.troop]);
    let new = NewDecision { kind, troop: locked.troop, assignment: Some(assignment), reason: body.reason };
    let decision_id = take(&mut tx, permit, &season, &touched, &new).await?;
    if kind == DecisionKind::StandDown {
        let stamp = (tx.logged_at(), tx.seq().await?);
        sql::end(&mut tx, permit, &locked, stamp).await?;
    }
    tx.about("assignment", assignment);
    tx.about("person", locked.person);
    finish(tx, permit, &season, &touched, new, (decision_id, Some((around, locked.person)))).await
}

/// Holds the troop, asks the rules, and adds the decision.
pub(super) async fn take(
    tx: &mut Tx,
    permit: &Permit<DecisionsTake>,
    season: &ThisSeason,
    touched: &Touched,
    new: &NewDecision,
) -> Result<DecisionId, ApiError> {
    let unit = permit.unit()?;
    change::hold(tx, unit, touched).await?;
    let (_, found) = standings::one(tx, unit, season, None, new.troop).await?;
    rules::may(new.kind, new.assignment, &standings::seen_by(permit, new.troop, found.standing)).map_err(refused)?;
    standings::record_decision(tx, permit, season.season_id, new).await
}

/// Computes what the decision touches and answers with where the troop stands now.
pub(super) async fn finish(
    mut tx: Tx,
    permit: &Permit<DecisionsTake>,
    season: &ThisSeason,
    touched: &Touched,
    new: NewDecision,
    (decision_id, told): (DecisionId, Option<(&Surroundings, PersonId)>),
) -> Result<Answer<Decision>, ApiError> {
    let unit = permit.unit()?;
    change::refresh(&mut tx, unit, touched).await?;
    tx.about("decision", decision_id);
    tx.about("troop", new.troop);
    let (then, found) = standings::one(&mut tx, unit, season, None, new.troop).await?;
    let message_id = match told {
        Some((around, person)) => tell(&mut tx, around, permit, season, (new.kind, person, &found)).await?,
        None => None,
    };
    let troop = standings::show(&mut tx, permit, season, &then, found).await?;
    let NewDecision { kind, assignment, reason, troop: new_troop } = new;
    let decided_at = tx.logged_at();
    let still_open = (kind == DecisionKind::Suspend).then(|| rules::still_open(&troop.standing.gates)).flatten();
    let goes_on = match kind {
        DecisionKind::StandDown => one_troop::goes_on(&mut tx, unit, season, new_troop).await?,
        _ => Vec::new(),
    };
    let decision = Decision {
        decision_id,
        decision: kind,
        assignment_id: assignment,
        decided_at,
        reason,
        still_open,
        goes_on,
        message_id,
        troop,
    };
    tx.commit_with(Answer::new(&decision)?).await
}

/// A refusal as an answer: each open requirement by its code, with how it is closed.
fn refused(refusal: Refusal) -> ApiError {
    match refusal {
        Refusal::WrongState(detail) => ApiError::new(Code::WrongState).detail(detail),
        Refusal::Open(open) => {
            let errors = open.into_iter().map(|row| {
                let how = row.how.unwrap_or_default();
                FieldError::matter(row.requirement, format!("{}: {how}", row.title))
            });
            ApiError::new(Code::RequirementsOpen).errors(errors.collect())
        }
    }
}

/// The troop is meant, not an assignment.
pub(super) fn about_season(kind: DecisionKind, troop: TroopId, reason: Option<String>) -> NewDecision {
    NewDecision { kind, troop, assignment: None, reason }
}
