//! Say that somebody is a troop's leader or treasurer no more.

use actix_web::post;
use serde::Deserialize;
use utoipa::IntoParams;

use super::list_troop_contacts::{Duty, TroopContact};
use super::sql::contacts;
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::{ApiError, Code, Problems};

/// Which contact of which troop.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct TroopContactPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The troop.
    #[param(value_type = uuid::Uuid)]
    troop_id: TroopId,
    /// The person.
    #[param(value_type = uuid::Uuid)]
    person_id: PersonId,
    /// What the person does there.
    duty: Duty,
}

/// End a contact's duty in a troop.
#[utoipa::path(tag = "roster", params(TroopContactPath), extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 200, description = "The contact, ended.", body = TroopContact), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/contacts/{person_id}/{duty}/end")]
pub async fn end_troop_contact(
    permit: Permit<AssignmentsChange>,
    path: Path<TroopContactPath>,
) -> Result<Answer<TroopContact>, ApiError> {
    let mut tx = permit.tx()?;
    let found = contacts::lock(&mut tx, &permit, path.troop_id, path.person_id, path.duty.name()).await?;
    let mut row = found.ok_or(Code::NotFound)?;
    permit.reach(path.troop_id)?;
    tx.replay().await?;
    if row.ended_at.is_some() {
        return Err(Code::AlreadyEnded.into());
    }
    let log_seq = tx.seq().await?;
    row.ended_at = Some(tx.logged_at());
    contacts::keep(&mut tx, &permit, &row, log_seq).await?;
    tx.about("troop", path.troop_id);
    tx.about("person", path.person_id);
    tx.commit_with(Answer::new(&TroopContact::from(row))?).await
}
