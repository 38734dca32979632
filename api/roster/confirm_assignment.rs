//! Confirm an assignment that a list proposed.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::list_assignments::Assignment;
use super::rules::{Fate, fate};
use super::sql::assignments::{self, AssignmentRow};
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons::{self, ThisSeason};

/// Which assignment.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct AssignmentPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The assignment.
    #[param(value_type = uuid::Uuid)]
    pub(super) assignment_id: AssignmentId,
}

/// How to confirm it; `{}` confirms it as it was proposed.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"lead": false}))]
pub struct AssignmentConfirmation {
    /// Whether as the troop's lead coordinator; when left out, as it was proposed.
    #[garde(skip)]
    lead: Option<bool>,
}

/// Confirm an assignment that a list proposed: from then on the person coordinates the troop.
#[utoipa::path(tag = "roster", params(AssignmentPath), request_body = AssignmentConfirmation, extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 200, description = "The assignment, confirmed.", body = Assignment), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/confirm")]
pub async fn confirm_assignment(
    permit: Permit<AssignmentsChange>,
    path: Path<AssignmentPath>,
    body: Json<AssignmentConfirmation>,
) -> Result<Answer<Assignment>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let Held { mut row, season, touched } = hold(&mut tx, &permit, path.assignment_id, None).await?;
    tx.replay().await?;
    season.open()?;
    proposed(&row)?;
    let log_seq = tx.seq().await?;
    row.confirmed_at = Some(tx.logged_at());
    row.lead = body.0.lead.unwrap_or(row.lead);
    assignments::end_what_ran_out(&mut tx, &permit, season.season_id, TroopId(row.troop_id), log_seq).await?;
    assignments::decide(&mut tx, &permit, &row, log_seq).await?;
    finish(&mut tx, unit, &mut row, &touched).await?;
    let version = row.version;
    tx.commit_with(Answer::new(&Assignment::from(row))?.version(version)).await
}

/// An assignment in reach, with everything that its change touches held.
pub(super) struct Held {
    pub row: AssignmentRow,
    pub season: ThisSeason,
    pub touched: Touched,
}

/// Finds an assignment in reach, holds its season, person (and another one) and troop, and locks it.
pub(super) async fn hold(
    tx: &mut Tx,
    permit: &Permit<AssignmentsChange>,
    assignment: AssignmentId,
    another: Option<PersonId>,
) -> Result<Held, ApiError> {
    let unit = permit.unit()?;
    let found = assignments::find(tx, unit, permit.read_scope(), assignment).await?;
    permit.reach(TroopId(found.troop_id))?;
    let season = seasons::hold(tx, unit, SeasonId(found.season_id)).await?;
    let people = [PersonId(found.person_id)].into_iter().chain(another).collect();
    let troops = vec![TroopId(found.troop_id)];
    let touched = Touched::some(season.season_id, people, troops);
    change::hold(tx, unit, &touched).await?;
    let row = assignments::lock(tx, permit, assignment).await?;
    Ok(Held { row, season, touched })
}

/// Refuses whatever is no open proposal, saying what it is.
pub(super) fn proposed(row: &AssignmentRow) -> Result<(), ApiError> {
    let detail = match fate(row.confirmed_at, row.declined_at, row.ended_at) {
        Fate::Proposed => return Ok(()),
        Fate::Confirmed => {
            "This assignment is confirmed already. To end it, let the coordinator stand down (stand_down_coordinator)."
        }
        Fate::Declined => {
            "This proposal was declined. Name the coordinator anew if that was a mistake (name_coordinator)."
        }
        Fate::Ended => {
            "This assignment has ended. Name the coordinator anew if the person comes back (name_coordinator)."
        }
    };
    Err(ApiError::new(Code::WrongState).detail(detail))
}

/// What every decision about an assignment ends with.
pub(super) async fn finish(
    tx: &mut Tx,
    unit: UnitId,
    row: &mut AssignmentRow,
    touched: &Touched,
) -> Result<(), ApiError> {
    row.version += 1;
    tx.about("assignment", row.assignment_id);
    tx.about("troop", row.troop_id);
    tx.about("person", row.person_id);
    change::refresh(tx, unit, touched).await
}
