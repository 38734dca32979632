//! One waiver.

use actix_web::get;
use serde::Deserialize;
use utoipa::IntoParams;

use super::waive_requirement::Waiver;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WaiversRead};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{SeasonId, UnitId, WaiverId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons;
use crate::standings::sql::exceptions;

/// Which waiver.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct WaiverPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The waiver.
    #[param(value_type = uuid::Uuid)]
    pub(super) waiver_id: WaiverId,
}

/// Show one waiver, with its reason and how far it has come.
#[utoipa::path(tag = "standings", params(WaiverPath), extensions(("x-permission" = json!(WaiversRead::NAME))), responses((status = 200, description = "The waiver.", body = Waiver), Problems))]
#[get("/v1/units/{unit_id}/waivers/{waiver_id}")]
pub async fn find_waiver(permit: Permit<WaiversRead>, path: Path<WaiverPath>) -> Result<Answer<Waiver>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = exceptions::find_waiver(&mut tx, unit, path.waiver_id).await?.ok_or(Code::NotFound)?;
    let season = seasons::resolve(&mut tx, unit, Some(SeasonId(row.season_id))).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    Answer::new(&Waiver::new(row, &calendar, tx.now()))
}
