//! Say who a troop's leader or treasurer is.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_troop::TroopPath;
use super::list_troop_contacts::{Duty, TroopContact};
use super::sql::contacts::{self, TroopContactRow};
use super::sql::people;
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsChange, Permission as _};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::PersonId;
use crate::error::{ApiError, Code, Problems};

/// A contact of a troop to be added.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "0198c0de-0000-7000-8000-0000000005ff", "duty": "treasurer"}))]
pub struct NewTroopContact {
    /// Who.
    #[garde(skip)]
    person_id: PersonId,
    /// What the person does in the troop.
    #[garde(skip)]
    duty: Duty,
}

/// Add a contact to a troop: its leader, its treasurer. It gives the person no scope.
#[utoipa::path(tag = "roster", params(TroopPath), request_body = NewTroopContact, extensions(("x-permission" = json!(AssignmentsChange::NAME))), responses((status = 201, description = "The contact.", body = TroopContact), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/contacts")]
pub async fn add_troop_contact(
    permit: Permit<AssignmentsChange>,
    path: Path<TroopPath>,
    body: Json<NewTroopContact>,
) -> Result<Created<TroopContact>, ApiError> {
    let NewTroopContact { person_id, duty } = body.0;
    let (unit, troop) = (permit.unit()?, path.troop_id);
    let mut tx = permit.tx()?;
    if !contacts::troop_exists(&mut tx, unit, troop).await? {
        return Err(Code::NotFound.into());
    }
    permit.reach(troop)?;
    people::lock_present(&mut tx, &permit, person_id).await?;
    tx.replay().await?;
    let before = contacts::lock(&mut tx, &permit, troop, person_id, duty.name()).await?;
    if before.as_ref().is_some_and(|row| row.ended_at.is_none()) {
        let detail = "This person has this duty in the troop already. Nothing needs to be done.";
        return Err(ApiError::new(Code::Conflict).detail(detail));
    }
    let log_seq = tx.seq().await?;
    let row = TroopContactRow {
        troop_id: troop.0,
        person_id: person_id.0,
        duty: duty.name().to_owned(),
        from_at: before.map_or(tx.logged_at(), |row| row.from_at),
        ended_at: None,
    };
    contacts::keep(&mut tx, &permit, &row, log_seq).await?;
    tx.about("troop", troop);
    tx.about("person", person_id);
    let address = format!("/v1/units/{unit}/troops/{troop}/contacts");
    tx.commit_with(Created::new(&TroopContact::from(row))?.location(address)).await
}
