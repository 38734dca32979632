//! Name a coordinator of a troop.

use actix_web::post;
use chrono::{DateTime, SubsecRound as _, Utc};
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::list_assignments::Assignment;
use super::list_troops::RosterPath;
use super::regrouping::refuse_merged;
use super::rules;
use super::sql::assignments::{self, AssignmentRow};
use super::sql::people;
use super::sql::troops::{self, TroopRow};
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons::{self, calendar};

/// A coordinator to be named.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"troop_id": "0198c0de-0000-7000-8000-000000000103", "person_id": "0198c0de-0000-7000-8000-0000000005ff", "lead": true}))]
pub struct NewAssignment {
    /// Of which troop.
    #[garde(skip)]
    troop_id: TroopId,
    /// Who.
    #[garde(skip)]
    person_id: PersonId,
    /// Whether as the troop's lead coordinator, of whom it has one at a time.
    #[garde(skip)]
    lead: bool,
    /// From when; when left out, from now.
    #[garde(inner(custom(text::instant)))]
    from_at: Option<DateTime<Utc>>,
    /// Until when, for a deputy; when left out, until the coordinator stands down.
    #[garde(inner(custom(text::instant)))]
    until_at: Option<DateTime<Utc>>,
}

/// Name a coordinator of a troop in the current season. It counts at once.
///
/// From then on the person sees the troop and the own steps (with an account: `invite_person`). Appointing is another
/// act, which asks for the requirements.
#[utoipa::path(tag = "roster", params(RosterPath), request_body = NewAssignment, extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 201, description = "The assignment.", body = Assignment), Problems))]
#[post("/v1/units/{unit_id}/assignments")]
pub async fn name_coordinator(
    permit: Permit<AssignmentsChange>,
    _path: Path<RosterPath>,
    body: Json<NewAssignment>,
) -> Result<Created<Assignment>, ApiError> {
    let new = body.0;
    let (unit, now) = (permit.unit()?, permit.now());
    let mut tx = permit.tx()?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    let touched = Touched::some(season.season_id, vec![new.person_id], vec![new.troop_id]);
    change::hold(&mut tx, unit, &touched).await?;
    let troop = known(&mut tx, &permit, season.season_id, &new).await?;
    tx.replay().await?;
    season.open()?;
    let from_at = new.from_at.unwrap_or(now).trunc_subsecs(6);
    let until_at = new.until_at.map(|until| until.trunc_subsecs(6));
    let begins_at = calendar::start_of_day(season.zone, season.starts_on);
    let faults = [rules::from_fault(from_at, begins_at, now), rules::until_fault(from_at, until_at, now)];
    let faults: Vec<FieldError> = faults.into_iter().flatten().collect();
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    refuse_merged(&troop)?;
    if troop.age_band.is_none() {
        let detail = "This troop has no place in the current season yet. Enter its age band and selling youths (change_troop), then name its coordinator.";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let log_seq = tx.seq().await?;
    let assignment = AssignmentId::new();
    let row = AssignmentRow {
        assignment_id: assignment.0,
        troop_id: new.troop_id.0,
        season_id: season.season_id.0,
        person_id: new.person_id.0,
        lead: new.lead,
        from_at,
        until_at,
        proposed_at: None,
        confirmed_at: Some(tx.logged_at()),
        declined_at: None,
        ended_at: None,
        ended_because: None,
        version: 1,
    };
    assignments::end_what_ran_out(&mut tx, &permit, season.season_id, new.troop_id, log_seq).await?;
    assignments::insert(&mut tx, &permit, &row, log_seq).await?;
    tx.about("assignment", assignment);
    tx.about("troop", new.troop_id);
    tx.about("person", new.person_id);
    change::refresh(&mut tx, unit, &touched).await?;
    let address = format!("/v1/units/{unit}/assignments");
    tx.commit_with(Created::new(&Assignment::from(row))?.version(1).location(address)).await
}

/// The troop with its place in the season; what cannot be seen in the unit does not exist.
async fn known(
    tx: &mut Tx,
    permit: &Permit<AssignmentsChange>,
    season: SeasonId,
    new: &NewAssignment,
) -> Result<TroopRow, ApiError> {
    let unit = permit.unit()?;
    let troop = troops::find(tx, unit, permit.read_scope(), season, new.troop_id).await?;
    let person = people::lock(tx, permit, new.person_id).await?;
    let faults = [
        troop.is_none().then(|| FieldError::at("/troop_id", "unknown", "the id of a troop of this unit (list_troops)")),
        (!person).then(|| FieldError::at("/person_id", "unknown", "the id of a person of this unit (list_people)")),
    ];
    let faults: Vec<FieldError> = faults.into_iter().flatten().collect();
    match troop {
        Some(troop) if faults.is_empty() => {
            people::lock_present(tx, permit, new.person_id).await?;
            permit.reach(new.troop_id)?;
            Ok(troop)
        }
        _ => Err(ApiError::new(Code::UnknownReference).errors(faults)),
    }
}
