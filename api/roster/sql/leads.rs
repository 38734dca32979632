//! Every query by which the lead of a troop changes.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, SeasonId, TroopId};
use crate::error::{ApiError, Code, OnConstraint as _};

/// The confirmed lead of a troop that is held, if it has one: the assignment and whose it is.
pub(in crate::roster) async fn lead_of<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    season: SeasonId,
    troop: TroopId,
) -> Result<Option<(AssignmentId, Uuid)>, ApiError> {
    let row = sqlx::query!(
        "select assignment_id, person_id from assignment
         where unit_id = $1 and season_id = $2 and troop_id = $3 and lead and confirmed_at is not null
           and ended_at is null and declined_at is null
         for no key update",
        by.unit()?.0,
        season.0,
        troop.0
    );
    let row = row.fetch_optional(tx.db()).await?;
    Ok(row.map(|row| (AssignmentId(row.assignment_id), row.person_id)))
}

/// Gives or takes the lead, and keeps that it was otherwise before; the version goes up by one.
pub(in crate::roster) async fn change<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    assignment: AssignmentId,
    lead: bool,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    let (unit, actor) = (by.unit()?, tx.actor().to_owned());
    sqlx::query!(
        "update assignment set lead = $3, version = version + 1, log_seq = $4 where unit_id = $1 and assignment_id = $2",
        unit.0,
        assignment.0,
        lead,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("assignment_one_lead", Code::LeadTaken)?;
    sqlx::query!(
        "insert into lead_change (unit_id, assignment_id, lead, changed_at, changed_by, log_seq) values ($1, $2, $3, $4, $5, $6)",
        unit.0,
        assignment.0,
        lead,
        at,
        actor,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
