//! The units in which you have a place.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql;
use crate::auth::SignedIn;
use crate::common::answer::Answer;
use crate::common::body::Query;
use crate::common::ids::UnitId;
use crate::common::page;
use crate::error::{ApiError, Problems};

/// Which page of units.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct UnitsQuery {
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

/// A unit by name.
#[derive(Debug, Serialize, ToSchema)]
pub struct UnitName {
    /// The unit.
    pub unit_id: UnitId,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
}

crate::page!(
    /// Units.
    UnitPage of UnitName
);

/// List the units in which you have a place.
#[utoipa::path(tag = "units", params(UnitsQuery), extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "Your units.", body = UnitPage), Problems))]
#[get("/v1/units")]
pub async fn list_units(
    signed_in: SignedIn,
    request: HttpRequest,
    query: Query<UnitsQuery>,
) -> Result<Answer<UnitPage>, ApiError> {
    let UnitsQuery { limit, cursor } = query.0;
    let after: Option<UnitId> = page::decode(cursor.as_deref(), &"units")?;
    let mut tx = signed_in.tx()?;
    let account = signed_in.actor().entered.account_id;
    let mut rows = sql::of_account(&mut tx, account, after.map(|id| id.0), i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<UnitName> =
        rows.into_iter().map(|row| UnitName { unit_id: UnitId(row.unit_id), name: row.name }).collect();
    let next_cursor = items.last().filter(|_| more).map(|unit| page::encode(&unit.unit_id, &"units")).transpose()?;
    let page = UnitPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
