//! Who took over from whom in a troop.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::find_troop::TroopPath;
use super::replace_coordinator::TakeOver;
use super::sql::{contacts, endings};
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsRead, EvidenceRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::TakeOverId;
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Code, Problems};

/// Which page of replacements.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TakeOversQuery {
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
    /// Replacements in a troop, the first one first.
    TakeOverPage of TakeOver, since
);

/// List who took over from whom in a troop, with what was handed over.
///
/// Why is shown to the unit manager and the overseer; what is handed over, to whoever sees the coordinators of the troop.
#[utoipa::path(tag = "roster", params(TroopPath, TakeOversQuery), extensions(("x-permission" = json!(AssignmentsRead::NAME))), responses((status = 200, description = "The replacements.", body = TakeOverPage), Problems))]
#[get("/v1/units/{unit_id}/troops/{troop_id}/take-overs")]
pub async fn list_take_overs(
    permit: Permit<AssignmentsRead>,
    request: HttpRequest,
    path: Path<TroopPath>,
    query: Query<TakeOversQuery>,
) -> Result<Answer<TakeOverPage>, ApiError> {
    let TakeOversQuery { updated_since, limit, cursor } = query.0;
    let (unit, troop) = (permit.unit()?, path.troop_id);
    let filters = ("take_overs", troop, updated_since);
    let after: Option<TakeOverId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    if !permit.read_scope().reaches(troop) || !contacts::troop_exists(&mut tx, unit, troop).await? {
        return Err(Code::NotFound.into());
    }
    let bounds = (after, i64::from(limit) + 1);
    let since = updated_since.map(Since::seq);
    let mut rows = endings::take_overs(&mut tx, unit, permit.read_scope(), (troop, since), bounds).await?;
    let more = page::cut(&mut rows, limit);
    // Why somebody went is for who decides such things and who oversees them, as with every decision.
    let reasons = permit.holds::<EvidenceRead>();
    let shown = |row| TakeOver::from(row).with_reason_if(reasons);
    let items: Vec<TakeOver> = rows.into_iter().map(shown).collect();
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.take_over_id, &filters)).transpose()?;
    let page = TakeOverPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
