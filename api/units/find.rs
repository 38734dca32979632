//! One unit, and your place in it.

use actix_web::get;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, UnitsRead};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::etag;
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::common::short_text::ShortText;
use crate::error::{ApiError, Code, Problems};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct UnitPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// A unit, and what you may do in it.
#[derive(Debug, Serialize, ToSchema)]
pub struct Unit {
    /// The unit.
    pub unit_id: UnitId,
    /// Its name.
    #[schema(max_length = 120, example = "Juniper Ridge")]
    pub name: String,
    /// Who you are there.
    pub your_person_id: PersonId,
    /// Your live roles; new values may come.
    #[schema(max_items = 100, value_type = Vec<ShortText>, example = json!(["unit_manager"]))]
    pub your_roles: Vec<String>,
    /// What you may do over the whole unit.
    #[schema(max_items = 200, value_type = Vec<ShortText>)]
    pub your_permissions: Vec<String>,
    /// What you may do for your own troops.
    #[schema(max_items = 200, value_type = Vec<ShortText>)]
    pub your_troop_permissions: Vec<String>,
    /// The troops that you coordinate.
    #[schema(max_items = 100)]
    pub your_troop_ids: Vec<TroopId>,
    /// The version of the unit's own fields.
    #[schema(max_length = 30)]
    pub etag: String,
}

/// Show a unit and what you may do in it.
#[utoipa::path(tag = "units", params(UnitPath), extensions(("x-permission" = json!(UnitsRead::NAME))), responses((status = 200, description = "The unit.", body = Unit), Problems))]
#[get("/v1/units/{unit_id}")]
pub async fn find_unit(permit: Permit<UnitsRead>, _path: Path<UnitPath>) -> Result<Answer<Unit>, ApiError> {
    let mut tx = permit.tx()?;
    let row = sql::find(&mut tx, permit.unit()?).await?.ok_or(Code::NotFound)?;
    let entered = permit.actor().entered.clone();
    Answer::new(&Unit {
        unit_id: UnitId(row.unit_id),
        name: row.name,
        your_person_id: permit.person()?,
        your_roles: entered.roles,
        your_permissions: entered.unit_wide,
        your_troop_permissions: entered.own_troops,
        your_troop_ids: entered.troops,
        etag: etag(row.version),
    })
}
