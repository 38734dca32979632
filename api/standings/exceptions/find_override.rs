//! One override.

use actix_web::get;
use serde::Deserialize;
use utoipa::IntoParams;

use super::outlived::Look;
use super::override_gate::GateOverride;
use crate::auth::Permit;
use crate::auth::permission::{OverridesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{OverrideId, SeasonId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons;
use crate::standings::sql::exceptions;

/// Which override.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OverridePath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The override.
    #[param(value_type = uuid::Uuid)]
    pub(super) override_id: OverrideId,
}

/// Show one override, with its reason and how far it has come.
#[utoipa::path(tag = "standings", params(OverridePath), extensions(("x-permission" = json!(OverridesRead::NAME))), responses((status = 200, description = "The override.", body = GateOverride), Problems))]
#[get("/v1/units/{unit_id}/overrides/{override_id}")]
pub async fn find_override(
    permit: Permit<OverridesRead>,
    path: Path<OverridePath>,
) -> Result<Answer<GateOverride>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = exceptions::find_override(&mut tx, unit, path.override_id).await?.ok_or(Code::NotFound)?;
    let season = seasons::resolve(&mut tx, unit, Some(SeasonId(row.season_id))).await?;
    let now = tx.now();
    let look = Look::at(&mut tx, unit, &season, std::slice::from_ref(&row), now).await?;
    Answer::new(&look.show(row)?)
}
