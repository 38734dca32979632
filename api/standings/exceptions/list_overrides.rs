//! The overrides of a season.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::ExceptionState;
use super::outlived::Look;
use super::override_gate::GateOverride;
use crate::auth::Permit;
use crate::auth::permission::{OverridesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{OverrideId, SeasonId, TroopId};
use crate::common::page;
use crate::common::since::{Since, asked};
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::seasons::policy::GateName;
use crate::standings::list::StandingsPath;
use crate::standings::sql::exceptions;

/// Which overrides.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OverridesQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Only those in this state; repeat it for several.
    #[garde(length(max = 4))]
    #[serde(default)]
    #[param(max_items = 4)]
    state: Vec<ExceptionState>,
    /// Only those of this troop.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
    /// Only those of this gate.
    #[garde(skip)]
    gate: Option<GateName>,
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
    /// Overrides, in the order in which they were asked for.
    OverridePage of GateOverride, since
);

/// List the overrides of a season: what waits for a second person, is in force, is over or was taken back.
#[utoipa::path(tag = "standings", params(StandingsPath, OverridesQuery), extensions(("x-permission" = json!(OverridesRead::NAME))), responses((status = 200, description = "The overrides.", body = OverridePage), Problems))]
#[get("/v1/units/{unit_id}/overrides")]
pub async fn list_overrides(
    permit: Permit<OverridesRead>,
    request: HttpRequest,
    _path: Path<StandingsPath>,
    query: Query<OverridesQuery>,
) -> Result<Answer<OverridePage>, ApiError> {
    let OverridesQuery { season, state: states, troop, gate, updated_since, limit, cursor } = query.0;
    let filters = ("overrides", season, &states, troop, gate, updated_since);
    let after: Option<(i64, OverrideId)> = page::decode(cursor.as_deref(), &filters)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?;
    let at = tx.now();
    let rows = exceptions::overrides(&mut tx, unit, season.season_id, None).await?;
    let look = Look::at(&mut tx, unit, &season, &rows, at).await?;
    let mut items: Vec<GateOverride> = rows
        .into_iter()
        .filter(|row| asked(updated_since, row.log_seq))
        .map(|row| look.show(row))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .filter(|one| states.is_empty() || states.contains(&one.state))
        .filter(|one| troop.is_none_or(|troop| one.troop_id == troop))
        .filter(|one| gate.is_none_or(|gate| one.gate == gate))
        .filter(|one| after.is_none_or(|after| place(one) > after))
        .collect();
    items.sort_by_key(place);
    let more = page::cut(&mut items, limit);
    let next_cursor = items.last().filter(|_| more).map(|last| page::encode(&place(last), &filters)).transpose()?;
    let page = OverridePage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}

fn place(one: &GateOverride) -> (i64, OverrideId) {
    (one.asked_at.timestamp_micros(), one.override_id)
}
