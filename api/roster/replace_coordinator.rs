//! Replace a coordinator by another person, in one act.

use actix_web::post;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::confirm_assignment::{AssignmentPath, Held, hold};
use super::rules::{Fate, fate};
use super::sql::assignments::{self, AssignmentRow};
use super::sql::endings::{self, TakeOverRow};
use super::sql::{leads, people};
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change;
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TakeOverId, TroopId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::one_troop::{self, GoesOnWithTroop};

/// Who takes over, and what goes with the place.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "0198c0de-0000-7000-8000-0000000005ff", "reason": "Moves away at the end of the month.", "note": "Has 12 kits, two open receipts and the key of the storeroom."}))]
pub struct Replacement {
    /// Who takes over.
    #[garde(skip)]
    person_id: PersonId,
    /// Why the coordinator goes.
    #[garde(length(chars, min = 1, max = 400), custom(text::line))]
    #[schema(min_length = 1, max_length = 400)]
    reason: String,
    /// What is handed over, for whoever comes next; leave it out if there is nothing to say.
    #[garde(length(chars, min = 1, max = 2000))]
    #[schema(min_length = 1, max_length = 2000)]
    note: Option<String>,
}

/// One coordinator after another.
#[derive(Debug, Serialize, ToSchema)]
pub struct TakeOver {
    /// Which one.
    pub take_over_id: TakeOverId,
    /// The season.
    pub season_id: SeasonId,
    /// The troop.
    pub troop_id: TroopId,
    /// The assignment that ended.
    pub from_assignment_id: AssignmentId,
    /// Whose it was.
    pub from_person_id: PersonId,
    /// The assignment that began.
    pub to_assignment_id: AssignmentId,
    /// Whose it is.
    pub to_person_id: PersonId,
    /// Why; null to others than the unit manager and the overseer, and once one of the two people was erased.
    #[schema(required = true, max_length = 400)]
    pub reason: Option<String>,
    /// What was handed over; null when nothing was said, and once one of the two people was erased.
    #[schema(required = true, max_length = 2000)]
    pub note: Option<String>,
    /// When.
    pub taken_over_at: DateTime<Utc>,
}

/// A replacement that was made, and what goes on with the one who comes.
#[derive(Debug, Serialize, ToSchema)]
pub struct Replaced {
    /// One after another: `list_take_overs` tells it later.
    pub take_over: TakeOver,
    /// What was let go for the troop and goes on with whoever comes: it was given to the troop, so look whether it is still
    /// meant (`list_needs` asks, too).
    #[schema(max_items = 200)]
    pub goes_on: Vec<GoesOnWithTroop>,
}

impl TakeOver {
    /// Without why, unless the reader may read that.
    #[must_use]
    pub fn with_reason_if(mut self, may: bool) -> Self {
        self.reason = self.reason.filter(|_| may);
        self
    }
}

impl From<TakeOverRow> for TakeOver {
    fn from(row: TakeOverRow) -> Self {
        Self {
            take_over_id: TakeOverId(row.take_over_id),
            season_id: SeasonId(row.season_id),
            troop_id: TroopId(row.troop_id),
            from_assignment_id: AssignmentId(row.from_assignment_id),
            from_person_id: PersonId(row.from_person_id),
            to_assignment_id: AssignmentId(row.to_assignment_id),
            to_person_id: PersonId(row.to_person_id),
            reason: row.reason,
            note: row.note,
            taken_over_at: row.taken_over_at,
        }
    }
}

/// Replace a coordinator by another person: the old assignment ends and a new one begins, at one instant.
///
/// What the old coordinator did stays with that person; the new one begins with the own requirements and is appointed by
/// an act of its own. Somebody whom a list has proposed for the troop is confirmed by it. A lead is followed by a lead.
#[utoipa::path(tag = "roster", params(AssignmentPath), request_body = Replacement, extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 201, description = "The replacement.", body = Replaced), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/replace")]
pub async fn replace_coordinator(
    permit: Permit<AssignmentsChange>,
    path: Path<AssignmentPath>,
    body: Json<Replacement>,
) -> Result<Created<Replaced>, ApiError> {
    let (unit, new) = (permit.unit()?, body.0);
    let mut tx = permit.tx()?;
    let Held { row: old, season, touched } = hold(&mut tx, &permit, path.assignment_id, Some(new.person_id)).await?;
    people::lock_present(&mut tx, &permit, new.person_id).await?;
    tx.replay().await?;
    season.open()?;
    let now = tx.now();
    replaceable(&old, new.person_id, now)?;
    let log_seq = tx.seq().await?;
    let at = tx.logged_at();
    let troop = TroopId(old.troop_id);
    assignments::end_what_ran_out(&mut tx, &permit, season.season_id, troop, log_seq).await?;
    endings::replaced(&mut tx, &permit, path.assignment_id, (at, log_seq)).await?;
    let to = begin(&mut tx, &permit, &old, new.person_id, log_seq).await?;
    let row = TakeOverRow {
        take_over_id: TakeOverId::new().0,
        season_id: old.season_id,
        troop_id: old.troop_id,
        from_assignment_id: old.assignment_id,
        to_assignment_id: to.0,
        from_person_id: old.person_id,
        to_person_id: new.person_id.0,
        reason: Some(new.reason.trim().to_owned()),
        note: new.note.map(|note| note.trim().to_owned()).filter(|note| !note.is_empty()),
        taken_over_at: at,
    };
    endings::insert_take_over(&mut tx, &permit, &row, log_seq).await?;
    tx.about("take_over", row.take_over_id);
    for (kind, id) in [("assignment", row.from_assignment_id), ("assignment", row.to_assignment_id)] {
        tx.about(kind, id);
    }
    tx.about("troop", troop);
    tx.about("person", row.from_person_id);
    tx.about("person", row.to_person_id);
    change::refresh(&mut tx, unit, &touched).await?;
    let address = format!("/v1/units/{unit}/troops/{troop}/take-overs");
    let goes_on = one_troop::goes_on(&mut tx, unit, &season, troop).await?;
    tx.commit_with(Created::new(&Replaced { take_over: row.into(), goes_on })?.location(address)).await
}

/// Only a coordinator who is one now can be replaced, and by somebody else.
fn replaceable(old: &AssignmentRow, by: PersonId, now: DateTime<Utc>) -> Result<(), ApiError> {
    if old.person_id == by.0 {
        let fault = FieldError::at("/person_id", "same_person", "somebody else than the coordinator who goes");
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    let detail = match fate(old.confirmed_at, old.declined_at, old.ended_at) {
        Fate::Confirmed if old.until_at.is_none_or(|until| until > now) => return Ok(()),
        Fate::Proposed => {
            "This assignment is only proposed. Decline it (decline_assignment) and name somebody else (name_coordinator)."
        }
        Fate::Confirmed | Fate::Declined | Fate::Ended => {
            "This assignment is over, so nobody can take over from it. Name the new coordinator (name_coordinator)."
        }
    };
    Err(ApiError::new(Code::WrongState).detail(detail))
}

/// Begins the new assignment: a new one, or the one that a list has proposed. A co-coordinator takes the lead and keeps
/// the place, with what was decided about it.
async fn begin(
    tx: &mut Tx,
    by: &Permit<AssignmentsChange>,
    old: &AssignmentRow,
    person: PersonId,
    log_seq: i64,
) -> Result<AssignmentId, ApiError> {
    let at = tx.logged_at();
    let (season, troop) = (SeasonId(old.season_id), TroopId(old.troop_id));
    let held = endings::open_of(tx, by, season, troop, person).await?;
    match held {
        Some(mut row) if row.confirmed_at.is_none() => {
            row.confirmed_at = Some(at);
            row.lead = old.lead;
            assignments::decide(tx, by, &row, log_seq).await?;
            return Ok(AssignmentId(row.assignment_id));
        }
        Some(row) if old.lead && !row.lead => {
            let assignment = AssignmentId(row.assignment_id);
            leads::change(tx, by, assignment, true, (at, log_seq)).await?;
            return Ok(assignment);
        }
        Some(_) => return Err(Code::AlreadyAssigned.into()),
        None => {}
    }
    let assignment = AssignmentId::new();
    let row = AssignmentRow {
        assignment_id: assignment.0,
        person_id: person.0,
        from_at: at,
        until_at: None,
        proposed_at: None,
        confirmed_at: Some(at),
        declined_at: None,
        ended_at: None,
        ended_because: None,
        version: 1,
        ..old.clone()
    };
    assignments::insert(tx, by, &row, log_seq).await?;
    Ok(assignment)
}
