//! One uploaded list.

use actix_web::get;
use serde::Deserialize;
use utoipa::IntoParams;

use super::shown::Intake;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{IntakesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{IntakeId, UnitId};
use crate::error::{ApiError, Problems};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct IntakesPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which uploaded list.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct IntakePath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The list.
    #[param(value_type = uuid::Uuid)]
    pub(super) intake_id: IntakeId,
}

/// Show an uploaded list: where it is on its way, which columns were found, what it would change in figures.
#[utoipa::path(tag = "intake", params(IntakePath), extensions(("x-permission" = json!(IntakesRead::NAME))), responses((status = 200, description = "The list.", body = Intake), Problems))]
#[get("/v1/units/{unit_id}/intakes/{intake_id}")]
pub async fn find_intake(permit: Permit<IntakesRead>, path: Path<IntakePath>) -> Result<Answer<Intake>, ApiError> {
    let mut tx = permit.tx()?;
    let record = sql::find(&mut tx, permit.unit()?, path.intake_id).await?;
    Answer::new(&Intake::try_from(record)?)
}
