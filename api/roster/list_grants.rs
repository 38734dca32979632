//! Who holds which role.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::give_role::{Grant, UnitRole};
use super::list_troops::RosterPath;
use super::sql::grants::{self, Wanted};
use crate::auth::Permit;
use crate::auth::permission::{GrantsRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{GrantId, PersonId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};

/// Which grants.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct GrantsQuery {
    /// Of this person only.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    person: Option<PersonId>,
    /// Of this role only.
    #[garde(skip)]
    role: Option<UnitRole>,
    /// True leaves out those that are over.
    #[garde(skip)]
    #[serde(default)]
    #[param(default = false)]
    open: bool,
    /// What changed after this number of the unit's log.
    #[garde(dive)]
    #[param(value_type = Option<i64>, minimum = 0)]
    updated_since: Option<Since>,
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

crate::page!(
    /// Grants of roles, the oldest first.
    GrantPage of Grant, since
);

/// List who holds, will hold or has held which role, the oldest first.
///
/// Troop coordinators are not here: their assignment to a troop is their role (`list_assignments`).
#[utoipa::path(tag = "roster", params(RosterPath, GrantsQuery), extensions(("x-permission" = json!(GrantsRead::NAME))), responses((status = 200, description = "The grants.", body = GrantPage), Problems))]
#[get("/v1/units/{unit_id}/grants")]
pub async fn list_grants(
    permit: Permit<GrantsRead>,
    request: HttpRequest,
    _path: Path<RosterPath>,
    query: Query<GrantsQuery>,
) -> Result<Answer<GrantPage>, ApiError> {
    let GrantsQuery { person, role, open, updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("grants", unit, person, role, open, updated_since);
    let after: Option<GrantId> = page::decode(cursor.as_deref(), &filters)?;
    let open_at = open.then(|| permit.now());
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let since = updated_since.map(Since::seq);
    let wanted = Wanted { person, role: role.map(UnitRole::name), open_at, since, after, limit: i64::from(limit) + 1 };
    let mut rows = grants::list(&mut tx, unit, wanted).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<Grant> = rows.into_iter().map(Grant::try_from).collect::<Result<_, _>>()?;
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.grant_id, &filters)).transpose()?;
    let page = GrantPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
