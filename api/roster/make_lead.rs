//! Make a co-coordinator the troop's lead.

use actix_web::post;
use chrono::{DateTime, Utc};

use super::confirm_assignment::{AssignmentPath, Held, hold};
use super::list_assignments::Assignment;
use super::rules::{Fate, fate};
use super::sql::assignments::{self, AssignmentRow};
use super::sql::leads;
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::TroopId;
use crate::error::{ApiError, Code, Problems};

/// Make a co-coordinator the troop's lead. Who led before goes on as a co-coordinator.
///
/// Being appointed, suspended or under way stays with each of them as it was: the troop is from now on judged by the new
/// lead, where the policy counts the lead.
#[utoipa::path(tag = "roster", params(AssignmentPath), extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 200, description = "The assignment of the new lead.", body = Assignment), Problems))]
#[post("/v1/units/{unit_id}/assignments/{assignment_id}/make-lead")]
pub async fn make_lead(
    permit: Permit<AssignmentsChange>,
    path: Path<AssignmentPath>,
) -> Result<Answer<Assignment>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let Held { mut row, season, touched } = hold(&mut tx, &permit, path.assignment_id, None).await?;
    tx.replay().await?;
    season.open()?;
    can_lead(&row, tx.now())?;
    let log_seq = tx.seq().await?;
    let at = tx.logged_at();
    let troop = TroopId(row.troop_id);
    assignments::end_what_ran_out(&mut tx, &permit, season.season_id, troop, log_seq).await?;
    if let Some((led, who)) = leads::lead_of(&mut tx, &permit, season.season_id, troop).await? {
        leads::change(&mut tx, &permit, led, false, (at, log_seq)).await?;
        tx.about("assignment", led);
        tx.about("person", who);
    }
    leads::change(&mut tx, &permit, path.assignment_id, true, (at, log_seq)).await?;
    row.lead = true;
    row.version += 1;
    tx.about("assignment", row.assignment_id);
    tx.about("troop", row.troop_id);
    tx.about("person", row.person_id);
    change::refresh(&mut tx, unit, &touched).await?;
    let version = row.version;
    tx.commit_with(Answer::new(&Assignment::from(row))?.version(version)).await
}

/// Only a co-coordinator who is one now can take the lead.
fn can_lead(row: &AssignmentRow, now: DateTime<Utc>) -> Result<(), ApiError> {
    let detail = match fate(row.confirmed_at, row.declined_at, row.ended_at) {
        Fate::Confirmed if row.until_at.is_some_and(|until| until <= now) => {
            "The time of this assignment is over. Name the coordinator anew if the person goes on (name_coordinator)."
        }
        Fate::Confirmed if row.from_at > now => {
            "This assignment has not begun yet. Make the person the lead once it has."
        }
        Fate::Confirmed if row.lead => "This person leads the troop already; nothing is to be done.",
        Fate::Confirmed => return Ok(()),
        Fate::Proposed => "This assignment is only proposed. Confirm it with \"lead\": true (confirm_assignment).",
        Fate::Declined | Fate::Ended => {
            "This assignment is over. Name the coordinator anew if the person comes back (name_coordinator)."
        }
    };
    Err(ApiError::new(Code::WrongState).detail(detail))
}
