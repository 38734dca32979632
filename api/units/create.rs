//! Make a unit with its first unit manager.

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sql;
use crate::accounts::{self, email_fault, email_key};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, UnitsCreate};
use crate::common::answer::Created;
use crate::common::body::Json;
use crate::common::ids::{PersonId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// A unit to be made.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Juniper Ridge", "manager": {"first_name": "Imani", "last_name": "Castellanos", "email": "imani.castellanos@example.org"}}))]
pub struct NewUnit {
    /// Its name.
    #[garde(length(chars, min = 1, max = 120))]
    #[schema(min_length = 1, max_length = 120)]
    name: String,
    /// Its first unit manager.
    #[garde(dive)]
    manager: FirstManager,
}

/// The person who will manage the unit.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FirstManager {
    /// First name.
    #[garde(length(chars, min = 1, max = 80))]
    #[schema(min_length = 1, max_length = 80)]
    first_name: String,
    /// Last name.
    #[garde(length(chars, max = 80))]
    #[schema(max_length = 80)]
    last_name: String,
    /// Where the invitation goes.
    #[garde(length(min = 3, max = 254))]
    #[schema(min_length = 3, max_length = 254)]
    email: String,
}

/// A new unit, with the link for its manager, which is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct MadeUnit {
    /// The unit.
    pub unit_id: UnitId,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Its first unit manager.
    pub manager_person_id: PersonId,
    /// Give this link to the manager; it works once, for 72 hours.
    #[schema(max_length = 400)]
    pub invitation_link: String,
}

/// Make a unit and invite its first unit manager.
///
/// The administrator of the server does this and sees none of the unit's data afterwards.
#[utoipa::path(tag = "units", request_body = NewUnit, extensions(("x-permission" = json!(UnitsCreate::NAME))), responses((status = 201, description = "The unit, with its manager's link.", body = MadeUnit), Problems))]
#[post("/v1/units")]
pub async fn create_unit(
    permit: Permit<UnitsCreate>,
    around: Around,
    body: Json<NewUnit>,
) -> Result<Created<MadeUnit>, ApiError> {
    let NewUnit { name, manager } = body.0;
    if let Some(fault) = email_fault(&manager.email) {
        return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at(
            "/manager/email",
            "not_an_address",
            fault,
        )]));
    }
    let mut tx = permit.tx()?;
    tx.replay().await?;
    let (unit, person) = (UnitId::new(), PersonId::new());
    sql::insert(&mut tx, unit, &name).await?;
    let email = manager.email.trim();
    sql::insert_manager(&mut tx, unit, person, (&manager.first_name, &manager.last_name), email, &email_key(email))
        .await?;
    let invitation = accounts::invite(&mut tx, unit, person, email).await?;
    tx.about("unit", unit);
    tx.about("person", person);
    tx.also_in_log_of(unit);
    let invitation_link = around.invitation_link(&invitation.token);
    let made = MadeUnit { unit_id: unit, name, manager_person_id: person, invitation_link };
    tx.commit_with_secret(Created::new(&made)?.location(format!("/v1/units/{unit}"))).await
}
