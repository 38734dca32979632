//! One filed return.

use actix_web::get;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use utoipa::{IntoParams, ToSchema};

use super::document::{ReturnDocument, ReturnName};
use super::now;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{PersonId, ReturnId, SeasonId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::frozen::{self, Frozen, Kind};

/// Which return.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ReturnPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The return.
    #[param(value_type = uuid::Uuid)]
    pub(super) return_id: ReturnId,
}

/// A filed return.
#[derive(Debug, Serialize, ToSchema)]
pub struct FiledReturn {
    /// Which one.
    pub return_id: ReturnId,
    /// Its number: 1, 2, 3 without a gap within the unit.
    #[schema(minimum = 1)]
    pub number: i64,
    /// Its season.
    pub season_id: SeasonId,
    /// The SHA-256 digest of `document` in canonical JSON (RFC 8785), in hexadecimal digits: whoever has the document can
    /// work it out again.
    #[schema(min_length = 64, max_length = 64)]
    pub sha256: String,
    /// The instant at which it stands.
    pub stands_at: DateTime<Utc>,
    /// When it was filed.
    pub filed_at: DateTime<Utc>,
    /// By whom, as the log names them.
    #[schema(max_length = 60)]
    pub filed_by: String,
    /// What was filed, but names; never changed since.
    #[schema(value_type = ReturnDocument)]
    pub document: Box<RawValue>,
    /// The names of the people in it, as they were then.
    #[schema(max_items = 5000)]
    pub names: Vec<ReturnName>,
}

/// A frozen return as it is sent: the figures byte for byte as they were frozen.
pub(super) fn filed(frozen: Frozen, names: Vec<(PersonId, Option<String>)>) -> Result<FiledReturn, ApiError> {
    Ok(FiledReturn {
        return_id: ReturnId(frozen.document_id),
        number: frozen.number,
        season_id: frozen.season,
        sha256: frozen.sha256,
        stands_at: frozen.stands_at,
        filed_at: frozen.made_at,
        filed_by: frozen.made_by,
        document: RawValue::from_string(frozen.figures).map_err(|error| ApiError::internal(&error))?,
        names: now::sent(names),
    })
}

/// The frozen return in the path.
pub(super) async fn find(tx: &mut Tx, unit: UnitId, id: ReturnId) -> Result<Frozen, ApiError> {
    frozen::find(tx, unit, Kind::SeasonReturn, id.0).await?.ok_or_else(|| Code::NotFound.into())
}

/// Show a filed return, word for word as it was filed.
#[utoipa::path(tag = "returns", params(ReturnPath), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "The filed return.", body = FiledReturn), Problems))]
#[get("/v1/units/{unit_id}/returns/{return_id}")]
pub async fn find_return(permit: Permit<ReturnsRead>, path: Path<ReturnPath>) -> Result<Answer<FiledReturn>, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let frozen = find(&mut tx, unit, path.return_id).await?;
    let names = frozen::names(&mut tx, unit, frozen.document_id).await?;
    Answer::new(&filed(frozen, names)?)
}
